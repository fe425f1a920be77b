// A test as a card: what to do, what to beware of, buttons for its answers, what each would mean, what was entered.

import { dialog, el, fill, kept, put, spell } from "./dom.js";
import { askNumber } from "./pad.js";
import { target, wordsOf } from "./press.js";
import { language, t } from "./words.js";

const CALLS = "satdiag.calls"; // the moments that the view 'Now' planned: here they are only shown
const YOUNG_MS = 600; // a button that has just come under a finger takes nothing yet

/** One step. `entered`: what was entered here for the test; see `verdict.js`. `late`: it came into a page that was read. */
export class Step {
	#app;
	#entered;
	#born;
	#means = []; // of each answer: its number and where it is said what it would mean
	#answers = [];
	#also = el("ul.plainlist.also");
	#cautions = el("div.cautions");
	#keyed = el("div.stack");
	#said = el("p.entered", el("span"));
	#undo;
	#signs = {};

	constructor(app, test, entered, late) {
		[this.#app, this.#entered, this.#born] = [app, entered, late ? performance.now() : -YOUNG_MS];
		this.#undo = target(app, "plain", t("Take back"), (stamp) => entered.open(test).forEach((one) => app.withdraw(one.id, stamp)));
		this.#undo.dataset.key = `${test} undo`;
		this.#said.append(this.#undo);
		this.test = test;
		this.title = el("h3");
		this.times = el("p.small");
		this.hint = el("p.small");
		this.wait = el("p.figure", { role: "timer", "aria-live": "off" });
		this.body = el("div.stack", this.times, this.wait, this.#cautions, this.hint, this.#keyed, this.#said, this.#also);
	}

	/** Take over what the laptop tells of the step, touching the page only where something has changed. */
	update(told) {
		put(this.title, told.text);
		put(this.times, [told.after, told.minutes, told.worth].filter(Boolean).join(" "));
		put(this.hint, told.hint);
		this.hint.hidden = !told.hint;
		this.waits = told.wait;
		const writes = this.#app.state?.role !== "watch";
		this.#anew("cautions", told.cautions, () => fill(this.#cautions, ...told.cautions.map(caution)));
		const shape = told.answers.map(({ means, ...one }) => one);
		this.#anew("answers", [shape, told.view, writes], () => this.#build(told, writes));
		this.#answers = told.answers;
		const answered = shape.some((one) => one.state);
		this.#anew("also", [told.also, answered], () => fill(this.#also,
			told.also.length ? el("li.named", answered ? t("It may also show:") : t("What it may show:")) : null,
			...told.also.map((one) => el("li", el("span", one.text), " ", el("span.small", one.means)))));
		this.#also.hidden = !told.also.length;
		this.tick();
		this.mark();
	}

	/** What was entered, and whether it is worked in: to be called when the queue or the analysis has moved. */
	mark() {
		const open = this.#entered.open(this.test);
		put(this.#said.firstElementChild, open.length
			? t("◷ Entered, being worked out: {words}.", { words: open.map((one) => one.words).join("; ") }) : "");
		this.#said.hidden = !open.length;
		for (const [n, place] of this.#means) {
			const key = place.closest("button");
			const chosen = open.some((one) => one.key === `${this.test} ${n}`);
			put(place, chosen ? t("◷ Entered, being worked out.") : this.#answers[n].means ?? "");
			if (!key) continue;
			key.ariaDisabled = open.length && !this.#answers[n].again ? "true" : null;
			key.classList.toggle("chosen", chosen);
		}
	}

	/** The countdown of a wait, to the moment that the view 'Now' calls. */
	tick() {
		const call = this.waits ? kept(CALLS)?.held?.look : null;
		this.wait.hidden = !call;
		if (call) put(this.wait, waiting(call));
	}

	#anew(name, told, build) {
		const sign = JSON.stringify(told);
		if (this.#signs[name] === sign) return;
		this.#signs[name] = sign;
		build();
	}

	#build(told, writes) {
		this.#means = [];
		const steps = [];
		const answers = [];
		told.answers.forEach((one, n) => {
			if (one.ask) steps.push(writes ? this.#asked(one.ask, n) : null);
			else if (one.state) answers.push(this.#answer(one, n, writes));
			else steps.push(writes ? this.#key("choice-key", one, n) : null);
		});
		const name = told.view && document.querySelector(`#bar [data-view=${told.view}] span`)?.textContent;
		const go = name && writes ? el("button.wide", answers.length || steps.length ? t("Enter something else: {view}", { view: name })
			: t("Done in: {view}", { view: name }), { "data-key": `${this.test} view`,
			click: () => document.querySelector(`#bar [data-view=${told.view}]`).click() }) : null;
		const some = steps.filter(Boolean);
		fill(this.#keyed, some.length ? el("div.choices", some) : null, ...answers, go);
	}

	/** An answer: a button with what it would mean; for who may only watch, the words alone. */
	#answer(one, n, writes) {
		const means = el("span.means");
		this.#means.push([n, means]);
		if (!writes) return el("p", el("strong", one.label), " ", means);
		const key = this.#key("answer", one, n);
		key.append(means);
		return key;
	}

	#key(look, one, n) {
		const name = `${this.test} ${n}`;
		const key = target(this.#app, look, null, (stamp) => this.#enter(key, one.entries, stamp));
		key.append(el("span", one.label));
		key.dataset.key = name;
		return key;
	}

	#asked({ kind, subject, unit, label }, n) {
		const name = `${this.test} ${n}`;
		return el("button.choice-key", `${label} (${unit})`, { "data-key": name, "aria-haspopup": "dialog",
			click: () => this.#young() || askNumber(this.#app, label, unit, unit === "dB", (value, stamp) =>
				this.#note(name, [{ kind, subject, value, unit: value === "unreadable" ? "" : unit }], stamp)) });
	}

	#enter(key, entries, stamp) {
		if (this.#young()) return;
		if (key.ariaDisabled === "true") this.#app.say(t("An answer is being worked out. Take it back to enter another one."), true);
		else this.#note(key.dataset.key, entries, stamp);
	}

	#note(name, entries, stamp) {
		const taps = this.#app.enterAll(entries, stamp) ?? [];
		for (const tap of taps) this.#entered.add(this.test, { id: `p-${tap.key}`, key: name, words: wordsOf(tap), job: this.#app.state?.job });
		this.mark();
	}

	#young() {
		const young = performance.now() - this.#born < YOUNG_MS;
		if (young) this.#app.say(t("This has just come up: tap once more if you mean it."), true);
		return young;
	}
}

/** A caution, open until it is folded. */
export function caution({ head, text }) {
	return text ? el("details.caution", { open: true }, el("summary", `▲ ${head}`), el("p", text)) : el("p.caution", `▲ ${head}`);
}

function waiting({ due_ms, left_ms }) {
	if (due_ms === null) {
		return t("Look again after {time} more: it stands still while the receiver does not listen.", { time: spell(left_ms / 1000) });
	}
	const left_s = (due_ms - Date.now()) / 1000;
	if (left_s <= 0) return t("● Look at the channels again now.");
	const at = new Date(due_ms).toLocaleTimeString(language, { timeStyle: "short", hour12: false });
	return t("Look again in {time}, at {clock}.", { time: spell(left_s), clock: at });
}

/** The rows that something comes from, in a dialog. */
export function askRows(title, rows) {
	dialog(t("Where it comes from"), el("p", title), el("ul.plainlist.scroll", rows.map((one) =>
		el("li", el("strong", { translate: "no" }, one.id), " ", el("span", [one.at, one.words].filter(Boolean).join(" · "))))));
}
