// The view 'Wiring': optical ring, feed to the antenna, supply, and the checklist of the installation.

import { checklist } from "./checks.js";
import { by, el, put, spell } from "./dom.js";
import { feedPart } from "./feedpart.js";
import { askNumber } from "./pad.js";
import { target } from "./press.js";
import { ringPart } from "./ringpart.js";
import { Told } from "./told.js";
import { untouched } from "./touched.js";
import { refill } from "./unchanged.js";
import { t } from "./words.js";

/** A card: head, state and what was read, cautions, then whatever its part puts in. */
function card(name, title) {
	const made = { state: el("p.state-word"), read: el("p.figure"), care: el("div"), inner: el("div.part"), said: el("div.part") };
	by("view-wiring").append(el("section.card", { id: `wiring-${name}`, "aria-labelledby": `wiring-${name}-head` },
		el("h2", { id: `wiring-${name}-head`, tabindex: "-1" }, title), made.state, made.read, made.care, made.inner, made.said));
	return made;
}

/** The first caution stands in the open, others are folded. */
function cautions([first, ...others]) {
	const one = ({ head, text }) => el("p.care", el("strong", t("▲ {head}. ", { head })), text);
	return [one(first), others.length ? el("details", { "data-key": "care" }, el("summary", t("More cautions")), others.map(one)) : null];
}

/** The view. */
export function wiringView(app) {
	const root = by("view-wiring");
	const age = el("p.small.age-of");
	root.append(age);
	const [ring, feed, supply, checks] = [card("ring", t("Optical ring")), card("feed", t("Feed to the antenna")),
		card("supply", t("Supply")), card("checks", t("Checklist"))];
	const parts = { ring: ringPart(app, ring.inner), feed: feedPart(app, feed.inner), checks: checklist(app, checks.inner, jump) };
	supply.inner.append(supplyKeys(app));
	by("wiring-checks").hidden = true; // until there is something to tell
	const jumps = Object.keys({ ring, feed, supply, checks }).map((part) =>
		el("button.plain", by(`wiring-${part}-head`).textContent, { click: () => jump(part) }));
	age.before(el("nav.jumps", { "aria-label": t("Parts of this view") }, jumps));
	const told = new Told(app, "wiring", untouched(root, draw));

	function jump(part) {
		const head = by(`wiring-${part}-head`);
		head.scrollIntoView({ block: "start" });
		head.focus({ preventScroll: true });
	}

	function draw(now) {
		if (!now.number) {
			clear();
			return;
		}
		by("wiring-checks").hidden = false;
		for (const [name, spot] of Object.entries({ ring, feed, supply })) {
			const { state, read, said, cautions: care } = now[name];
			const by_now = name === "feed"; // its own word may be newer than the analysis
			if (!by_now) put(spot.state, state);
			if (!by_now) put(spot.read, read ?? "");
			refill(spot.care, care, () => cautions(care));
			const texts = [by_now ? t("By the last analysis: {state}.", { state }) : "", ...said, now[name].rise];
			refill(spot.said, texts, () => texts.filter(Boolean).map((text) => el("p", text)));
		}
		parts.ring.update(now.ring);
		parts.feed.update(now.feed);
		parts.checks.update(now.checks);
		may();
	}

	/** Nothing is known yet: the entries alone stand there. */
	function clear() {
		by("wiring-checks").hidden = true;
		for (const spot of [ring, feed, supply]) {
			for (const place of [spot.state, spot.read]) put(place, "");
			for (const place of [spot.care, spot.said]) refill(place, null, () => []);
		}
		parts.ring.clear();
		parts.feed.clear();
	}

	/** Who may only watch sees, but is offered no entry. */
	function may() {
		root.classList.toggle("watching", app.state?.role === "watch");
	}

	function aged() {
		const known = app.state?.analysis_age_s;
		const now_s = typeof known === "number" ? known + (performance.now() - app.feed.heard) / 1000 : null;
		put(age, now_s === null ? t("Nothing is worked out yet: entries can be made already.") : t("Worked out {time} ago.", { time: spell(coarse(now_s)) }));
	}

	function update() {
		if (document.body.dataset.view !== "wiring" || !app.state) return undefined; // ticks are kept by the job's name
		may();
		aged();
		parts.feed.lay();
		return told.look();
	}

	setInterval(() => document.hidden || root.hidden || !app.state || aged(), 5000);
	return { id: "wiring", update, shown: update, withdrawn: parts.feed.withdrawn };
}

/** The voltage at the receiver, the lowest value that a meter held, and a restart. */
function supplyKeys(app) {
	const ask = (text, title, subject) => el("button.choice-key", text, { click: () => askNumber(app, title, "V", false, (value, stamp) =>
		app.enter({ kind: "supply", subject, value, unit: value === "unreadable" ? "" : "V" }, stamp)) });
	return el("div.choices.enters", ask(t("Voltage now (V)"), t("Voltage at the receiver"), "receiver"),
		ask(t("Lowest value held (V)"), t("Lowest voltage that the meter held"), "receiver-minimum"),
		target(app, "choice-key", t("It restarted by itself"), (stamp) => app.enter({ kind: "reset", subject: "receiver", value: "seen" }, stamp)));
}

/** Steps of 5 s are enough. */
function coarse(seconds) {
	return seconds < 100 ? 5 * Math.floor(seconds / 5) : seconds;
}
