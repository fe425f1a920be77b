// The view 'Verdict': what it is and how sure, what to do next with buttons for the answers, what it may be and why.

import { ago, by, el, fill, put } from "./dom.js";
import { askRows, caution, Step } from "./steps.js";
import { Told } from "./told.js";
import { untouched } from "./touched.js";
import { t, tn } from "./words.js";

/** What was entered here for a test and is not in an analysis yet: [{id, key, words, job}] by test. */
class Entered extends Map {
	/** What is entered for a test and not worked in yet. */
	open(test) {
		return this.get(test) ?? [];
	}

	add(test, one) {
		this.set(test, [...this.open(test), one]);
	}

	/** Keep only what `stays`; true if anything went. */
	sift(stays) {
		let went = false;
		for (const [test, some] of this) {
			const left = some.filter(stays);
			went ||= left.length < some.length;
			this.set(test, left);
		}
		return went;
	}
}

/** The view. */
export function verdictView(app) {
	const root = by("view-verdict");
	const entered = new Entered();
	const steps = new Map(); // test -> Step
	const signs = new Map();
	const card = (title, ...parts) => el("section.card", el("h2", { tabindex: "-1" }, title), ...parts);
	const fold = (title, ...parts) => el("details.card", el("summary", title), ...parts);

	const none = el("p.lead", t("There is not enough in the log yet to say anything."));
	const [text, sure, kind, hundred, next, age] = ["p.sentence", "p.sure", "p.advice", "p", "p", "p.small"].map((what) => el(what));
	const [worked, stop, plan, others] = [el("p.small"), el("p"), el("ol.steps"), el("ol.steps")];
	const other = el("div.stack", el("h3", t("Also worth their time")), others);
	const planned = card(t("Next tests"), worked, stop, plan, other);
	const [odd, conflict, mend, bars, gone, reasons, turns, cannot] = ["div.stack", "p", "ul.plainlist", "div.stack", "ul.plainlist", "div.stack",
		"ul.plainlist", "ul.plainlist"].map((what) => el(what));
	const doubt = card(t("Look again at this first"), odd, conflict);
	const mending = card(t("If it is that"), mend);
	const past = card(t("What was wrong earlier and is not now"), gone);
	const turning = fold(t("What would change this"), turns);
	const left = fold(t("What could not be worked out"), cannot);
	const why = [card(t("What it may be"), bars), past, card(t("For and against"), reasons), turning, left];
	const all = el("div.stack", el("section.hero", text, sure, kind, hundred, next, age), el("div.stack", doubt, planned, mending), el("div.stack", why));
	all.hidden = true;
	fill(root, none, all);

	let shown = null;
	const draw = untouched(root, drawNow);
	const told = new Told(app, "verdict", draw);

	function drawNow(it) {
		steady(() => {
			none.hidden = it.number !== 0;
			all.hidden = it.number === 0;
			if (it.number) paint(it);
			shown = it;
		});
		tick();
	}

	/** Change the page so that what is focused or first in sight keeps its place and its focus. */
	function steady(change) {
		const focused = root.contains(document.activeElement) ? document.activeElement : null;
		const key = focused?.dataset.key;
		const anchor = focused ?? [...plan.children].find((one) => one.getBoundingClientRect().bottom > 130);
		const top = anchor?.getBoundingClientRect().top;
		change();
		if (anchor?.isConnected && window.scrollY > 0) window.scrollBy(0, anchor.getBoundingClientRect().top - top);
		if (!focused || root.contains(document.activeElement)) return;
		const again = focused.isConnected ? focused : key && [...root.querySelectorAll("[data-key]")].find((one) => one.dataset.key === key);
		(again || planned.firstElementChild).focus({ preventScroll: true });
	}

	function paint(it) {
		const { head } = it;
		for (const [place, words] of [[text, head.text], [sure, head.sure], [kind, head.kind], [hundred, head.of_hundred],
			[next, head.do_next && t("Next: {what}", { what: head.do_next })]]) line(place, words);
		const counted = new Set(it.counted);
		if (entered.sift((one) => !counted.has(one.id))) put(worked, t("✓ Your last answer is worked in."));
		worked.hidden = !worked.textContent;
		line(stop, it.plan.stop);
		drawSteps(plan, it.plan.steps, true);
		drawSteps(others, it.plan.others, false);
		other.hidden = !it.plan.others.length;
		planned.hidden = !it.plan.stop && !it.plan.steps.length;
		const there = new Set([...it.plan.steps, ...it.plan.others].map((one) => one.test));
		for (const test of steps.keys()) if (!there.has(test)) steps.delete(test);
		doubt.hidden = !it.odd && !it.conflict;
		line(conflict, it.conflict);
		anew("odd", it.odd, () => fill(odd, ...(it.odd ? [el("p", el("strong", it.odd.text)), el("p.small", it.odd.said), rowsKey("odd", it.odd)] : [])));
		mending.hidden = !it.repairs.length;
		const at_once = !it.plan.steps.length; // no test comes before it
		anew("mend", [it.repairs, at_once], () => fill(mend, ...it.repairs.map((one) => repair(one, at_once))));
		anew("bars", it.causes, () => fill(bars, ...it.causes.map(causes)));
		past.hidden = !it.earlier.length;
		list(gone, "gone", it.earlier);
		anew("reasons", [it.for, it.against, it.slight, it.scale], () => fill(reasons, ...evidence(it)));
		turning.hidden = !it.change.length;
		list(turns, "turns", it.change);
		left.hidden = !it.could_not.length;
		list(cannot, "cannot", it.could_not);
	}

	function line(place, words) {
		put(place, words);
		place.hidden = !words;
	}

	function anew(name, it, build) {
		const sign = JSON.stringify(it);
		if (signs.get(name) === sign) return;
		signs.set(name, sign);
		build();
	}

	function list(place, name, texts) {
		anew(name, texts, () => fill(place, ...texts.map((one) => el("li", one))));
	}

	/** The first step stands open; the others unfold. A step that stays keeps its elements. */
	function drawSteps(host, some, first) {
		const items = some.map((one, n) => {
			const open = first && n === 0;
			let step = steps.get(one.test);
			if (!step || step.open !== open) {
				step = new Step(app, one.test, entered, Boolean(shown?.number));
				step.open = open;
				step.item = open ? el("li.step-card", step.title, step.body)
					: el("li.step-card", el("details", el("summary", step.title), step.body));
				steps.set(one.test, step);
			}
			step.update(one);
			return step.item;
		});
		if (items.length !== host.children.length || items.some((item, n) => host.children[n] !== item)) fill(host, ...items);
	}

	function rowsKey(name, { rows, text: about }) {
		return rows.length ? el("button.plain", tn("Shown by {n} row", "Shown by {n} rows", rows.length),
			{ "aria-label": tn("Shown by {n} row: {what}", "Shown by {n} rows: {what}", rows.length, { what: about }), "aria-haspopup": "dialog", "data-key": `rows ${name}`,
				click: () => askRows(about, rows) }) : null;
	}

	function evidence(it) {
		const reason = (one) => el("li.reason", el("p", el("strong", one.text), " ", el("span.weight", one.strength)), rowsKey(one.item, one));
		const side = (title, some, nothing) => [el("h3", title), some.length ? el("ul.plainlist", some.map(reason)) : el("p.small", nothing)];
		return [...side(t("+ Speaks for it"), it.for, t("Nothing that was logged speaks clearly for it.")),
			...side(t("− Speaks against it"), it.against, t("Nothing that was logged speaks clearly against it.")),
			it.slight.length ? el("details", el("summary", tn("{n} more that hardly weighs", "{n} more that hardly weigh", it.slight.length)),
				el("ul.plainlist", it.slight.map(reason))) : null, el("p.small", it.scale)];
	}

	function update() {
		told.look();
		const refused = new Set(app.queue.refused().map((tap) => `p-${tap.key}`));
		entered.sift((one) => !refused.has(one.id) && !app.taken.has(one.id) && one.job === app.state.job);
		if (shown?.number && app.state.role !== shown.role) draw(Object.assign(shown, { role: app.state.role }));
		if ([...entered.values()].some((one) => one.length)) line(worked, "");
		for (const step of steps.values()) step.mark();
		tick();
	}

	function tick() {
		if (document.body.dataset.view !== "verdict" || !app.state) return;
		const worked_s = app.state.analysis_age_s;
		const aged_s = (performance.now() - app.feed.heard) / 1000;
		put(age, typeof worked_s === "number" ? t("Worked out {time}.", { time: ago(worked_s + aged_s) }) : "");
		for (const step of steps.values()) step.tick();
	}

	setInterval(tick, 1000);
	return { id: "verdict", update, shown: () => (told.look(), tick()), withdrawn: update };
}

function causes({ title, shown, folded }) {
	return el("div.stack", el("h3", title), el("ul.causes", shown.map((one) => {
		const part = el("span");
		part.style.setProperty("width", `${Math.max(1, 100 * one.share)}%`);
		return el("li", el("span", one.name), el("span", el("strong", one.p), ` ${one.word}`), el("span.share", { "aria-hidden": "true" }, part));
	})), folded.length ? el("details", el("summary", tn("{n} more, below 1 %", "{n} more, each below 1 %", folded.length)),
		el("p.small", folded.join(", "))) : null);
}

function repair(one, open) {
	return el("li", el("details", { open }, el("summary", el("strong", one.cause), ` ${one.p}`), el("div.stack", el("p", one.text),
		el("p.small", one.minutes), el("div.cautions", one.cautions.map(caution)))));
}
