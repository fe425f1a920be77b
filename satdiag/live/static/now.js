// The first view: what is known now, what to do, when the person is called, and what is heard.

import { CALLS, Calls } from "./calls.js";
import { by, el, fill, put, spell } from "./dom.js";
import { fillInFigure } from "./fillin.js";
import { levelsFigure } from "./levels.js";
import { reading } from "./press.js";

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
		put(by("arm"), !calls.armed ? "Call me" : calls.needsTap ? "Tap for the sound" : "I will call");
		put(by("arm-said"), !calls.means ? "This browser has neither sound nor vibration: watch the page."
			: !calls.armed ? "" : calls.needsTap ? "After a reload a browser gives no sound before a tap."
				: `It calls by ${calls.means}, while this page is open and the screen on.`);
		by("arm-said").hidden = !by("arm-said").textContent;
	}

	function update() {
		const state = app.state;
		put(by("sentence"), state.now?.sentence || "There is not enough in the log yet to say anything.");
		put(by("advice"), state.now?.what_to_do || "");
		by("advice").hidden = !state.now?.what_to_do;
		calls.plan(state.job, state.now, state.analysis_age_s);
		put(by("waits"), [calls.running === true ? "" : state.now?.running_why,
			"Waits only count while the receiver is awake with signal."].filter(Boolean).join(" "));
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
		if (called) app.say(`${CALLS[called].now}.`);
		const [first, ...others] = calls.list();
		by("next").hidden = !first;
		if (!first) return "satdiag live";
		const { now, until, left } = CALLS[first.what];
		const due = first.left_s <= 0;
		const stands = first.due_ms === null;
		by("next").dataset.due = String(due);
		put(by("next-what"), due ? now : stands ? left : until);
		put(by("left"), due ? "" : stands ? spell(first.left_s) : clockText(first.left_s));
		put(by("next-at"), due ? late(first) : stands ? "the countdown stands still" : at(first));
		put(by("next-why"), first.why);
		lines(by("later"), "", others.map((one) => [CALLS[one.what].name, one.left_s <= 0 ? late(one)
			: one.due_ms === null ? `after ${spell(one.left_s)} of listening`
				: [`in ${spell(one.left_s)}`, at(one)].filter(Boolean).join(", "), "", ""]));
		return due ? `● ${now}` : stands ? "Waits stand still" : `${clockText(first.left_s)}: ${now.toLowerCase()}`;
	}

	function tick() {
		const title = showCalls();
		const state = app.state;
		document.title = state?.job ? `${title} – ${state.job}` : title;
		if (!state) return;
		const aged_s = (performance.now() - app.feed.heard) / 1000;
		const age = (age_s) => (typeof age_s === "number" ? `${spell(age_s + aged_s)} ago` : "never");
		lines(by("level-list"), "No level was read yet.", (state.levels ?? []).map((one) =>
			[String(one.path).replace(":", " "), reading(one.value, one.unit), age(one.age_s), bars(one)]));
		lines(by("source-list"), "No source but this page.", (state.sources ?? []).map((one) =>
			[one.name, one.trouble ? `▲ ${one.trouble}` : app.feed.link === "none" ? "not known now" : one.state || "unknown", age(one.age_s), "", Boolean(one.trouble)]));
		const analysed = state.analysis_age_s;
		put(by("kept"), [`${state.rows ?? 0} rows are saved`, state.held ? `${state.held} are held in memory` : "",
			typeof analysed === "number" ? `worked out ${age(analysed)}` : ""].filter(Boolean).join(", ") + ".");
	}

	return { id: "now", update, tick };
}

function at({ due_ms }) {
	if (due_ms - Date.now() > FAR_MS) return "";
	return `at ${new Date(due_ms).toLocaleTimeString([], { timeStyle: "short", hour12: false })}`;
}

function late({ left_s }) {
	return left_s > -60 ? "due now" : `due ${spell(Math.floor(-left_s / 60) * 60)} ago`;
}

function listening(low_s, high_s) {
	if (typeof low_s !== "number") return "It is not known how long the receiver has listened.";
	const high = typeof high_s === "number" && Math.round(high_s) > 0;
	if (Math.round(low_s) <= 0) {
		return `It is not proved yet that the receiver has listened${high ? `; at most it has for ${spell(high_s)}` : ""}.`;
	}
	const low = `The receiver has listened for ${spell(low_s)}`;
	if (typeof high_s !== "number") return `${low} at least.`;
	return spell(low_s) === spell(high_s) ? `${low}.` : `${low} at least, ${spell(high_s)} at most.`;
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
	rows.forEach(([name, value, age, drawn, bad], n) => {
		const parts = list.children[n].children;
		[name, value, drawn, age].forEach((text, k) => put(parts[k], text));
		parts[1].classList.toggle("bad", Boolean(bad));
	});
}

function clockText(seconds) {
	const s = Math.ceil(seconds);
	const two = (number) => String(number % 60).padStart(2, "0");
	return s < 3600 ? `${Math.floor(s / 60)}:${two(s)}` : `${Math.floor(s / 3600)}:${two(Math.floor(s / 60))}:${two(s)}`;
}
