// The first view: what is known now, what to do, when the person is called, and what is heard.

import { CALLS, Calls } from "./calls.js";
import { ago, by, el, fill, put, spell, tongue } from "./dom.js";
import { fillInFigure } from "./fillin.js";
import { levelsFigure } from "./levels.js";
import { nameOf, reading } from "./press.js";
import { language, t, tn } from "./words.js";

const STATES = { opening: t("opening"), open: t("nothing heard yet"), listening: t("listening"), silent: t("silent"),
	lost: t("connection lost"), ended: t("finished") }; // of a source
const CLOCK = new Intl.DateTimeFormat(language, { timeStyle: "short", hour12: false });
const FAR_MS = 20 * 3_600_000; // a clock time says nothing of another day

/** The view 'Now'. */
export function nowView(app) {
	const calls = new Calls();
	by("arm").addEventListener("click", () => (calls.arm(), sound()));
	calls.addEventListener("change", sound);
	document.addEventListener("visibilitychange", () => document.hidden || tick());
	levelsFigure();
	fillInFigure();
	sound();

	let shown = "";

	function sound() {
		by("arm").ariaPressed = String(calls.armed);
		put(by("arm"), !calls.armed ? t("Call me") : calls.needsTap ? t("Tap for the sound") : t("I will call"));
		put(by("arm-said"), !calls.means ? t("This browser has neither sound nor vibration: watch the page.")
			: !calls.armed ? "" : calls.needsTap ? t("After a reload a browser gives no sound before a tap.") : calls.means);
		by("arm-said").hidden = !by("arm-said").textContent;
	}

	function update() {
		const state = app.state;
		put(by("sentence"), state.now?.sentence || t("There is not enough in the log yet to say anything."));
		put(by("advice"), state.now?.what_to_do || "");
		by("advice").hidden = !state.now?.what_to_do;
		calls.plan(state.job, state.now, state.analysis_age_s);
		put(by("waits"), [calls.running === true ? "" : state.now?.running_why,
			t("Waits only count while the receiver is awake with signal.")].filter(Boolean).join(" "));
		put(by("exposure"), listening(state.exposure_s, state.exposure_max_s));
		const told = (state.now?.told ?? []).map(String);
		if (told.join("\n") !== shown) fill(by("told"), ...told.map((text) => el("li", text)));
		shown = told.join("\n");
		const cannot = state.could_not ?? [];
		fill(by("could-not").lastElementChild, ...cannot.map((text) => el("li", String(text))));
		by("could-not").hidden = !cannot.length;
		tick();
	}

	function showCalls() {
		const called = calls.look();
		if (called) app.say(CALLS[called].called);
		const [first, ...others] = calls.list();
		by("next").hidden = !first;
		if (!first) return "satdiag live";
		const { now, until, left, title } = CALLS[first.what];
		const due = first.left_s <= 0;
		const stands = first.due_ms === null;
		by("next").dataset.due = String(due);
		put(by("next-what"), due ? now : stands ? left : until);
		put(by("left"), due ? "" : stands ? spell(first.left_s) : clockText(first.left_s));
		put(by("next-at"), due ? late(first) : stands ? t("the countdown stands still") : at(first));
		put(by("next-why"), first.why);
		lines(by("later"), "", others.map((one) => [CALLS[one.what].name, one.left_s <= 0 ? late(one)
			: one.due_ms === null ? t("after {time} of listening", { time: spell(one.left_s) })
				: [t("in {time}", { time: spell(one.left_s) }), at(one)].filter(Boolean).join(", "), "", ""]));
		return due ? `● ${now}` : stands ? t("Waits stand still") : title.replace("{time}", clockText(first.left_s));
	}

	function tick() {
		const title = showCalls();
		const state = app.state;
		document.title = state?.job ? `${title} – ${state.job}` : title;
		if (!state) return;
		const aged_s = (performance.now() - app.feed.heard) / 1000;
		const age = (age_s) => (typeof age_s === "number" ? ago(age_s + aged_s) : t("never"));
		lines(by("level-list"), t("No level was read yet."), (state.levels ?? []).map((one) =>
			[nameOf(String(one.path)), reading(one.value, one.unit), age(one.age_s), bars(one)]));
		lines(by("source-list"), t("No source but this page."), (state.sources ?? []).map((one) =>
			[one.name, one.trouble ? `▲ ${one.trouble}` : app.feed.link === "none" ? t("not known now") : stateOf(one), age(one.age_s), "", Boolean(one.trouble),
				one.trouble ? one.lang : ""]));
		const analysed = state.analysis_age_s;
		put(by("kept"), [tn("{n} row is saved", "{n} rows are saved", state.rows ?? 0),
			state.held ? tn("{n} is held in memory", "{n} are held in memory", state.held) : "",
			typeof analysed === "number" ? t("worked out {time} ago", { time: spell(analysed + aged_s) }) : ""].filter(Boolean).join(", ") + ".");
	}

	return { id: "now", update, tick };
}

function stateOf({ state }) {
	return Object.hasOwn(STATES, state ?? "") ? STATES[state] : state || t("unknown");
}

function at({ due_ms }) {
	if (due_ms - Date.now() > FAR_MS) return "";
	return t("at {time}", { time: CLOCK.format(due_ms) });
}

function late({ left_s }) {
	return left_s > -60 ? t("due now") : t("due {time} ago", { time: spell(Math.floor(-left_s / 60) * 60) });
}

function listening(low_s, high_s) {
	if (typeof low_s !== "number") return t("It is not known how long the receiver has listened.");
	const high = typeof high_s === "number" && Math.round(high_s) > 0;
	if (Math.round(low_s) <= 0) {
		return high ? t("It is not proved yet that the receiver has listened; at most it has for {high}.", { high: spell(high_s) })
			: t("It is not proved yet that the receiver has listened.");
	}
	const low = spell(low_s);
	if (typeof high_s !== "number") return t("The receiver has listened for {low} at least.", { low });
	if (low === spell(high_s)) return t("The receiver has listened for {time}.", { time: low });
	return t("The receiver has listened for {low} at least, {high} at most.", { low, high: spell(high_s) });
}

function bars({ value, unit }) {
	const of = Number(/^bars\/(\d{1,2})$/.exec(unit ?? "")?.[1]);
	return value >= 0 && value <= of ? "▮".repeat(value) + "▯".repeat(of - value) : "";
}

/** Rows of name, value, age and bars. Built anew only when their number changes. */
function lines(list, none, rows) {
	if (list.dataset.rows !== String(rows.length)) {
		list.dataset.rows = rows.length;
		fill(list, ...(rows.length ? rows.map(() => el("li", el("span.name"), el("strong"),
			el("span.bars", { "aria-hidden": "true" }), el("span.age"))) : none ? [el("li", none)] : []));
	}
	rows.forEach(([name, value, age, drawn, bad, lang = ""], n) => {
		const parts = list.children[n].children;
		[name, value, drawn, age].forEach((text, k) => put(parts[k], text));
		parts[1].classList.toggle("bad", Boolean(bad));
		tongue(parts[1], lang);
	});
}

function clockText(seconds) {
	const s = Math.ceil(seconds);
	const two = (number) => String(number % 60).padStart(2, "0");
	return s < 3600 ? `${Math.floor(s / 60)}:${two(s)}` : `${Math.floor(s / 3600)}:${two(Math.floor(s / 60))}:${two(s)}`;
}
