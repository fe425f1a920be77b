// The first view: what is known now, what to do, and when to look again.

import { by, el, fill, put, spell } from "./dom.js";
import { reading } from "./press.js";

const SAME_CALL_MS = 5000; // a new moment that differs by less is the same call

/** Sound and vibration at the moment of the next look. Sound is possible only after a tap. */
class Call {
	armed = false;
	#audio = null;
	#due = null; // performance.now() of the next look
	#called = false;

	arm() {
		this.armed = !this.armed;
		if (!this.armed) return;
		this.#audio ??= "AudioContext" in window ? new AudioContext() : null;
		this.#audio?.resume();
		this.#tone(0, 0.08);
	}

	plan(seconds, heard) {
		const due = typeof seconds === "number" ? heard + seconds * 1000 : null;
		const moved = due === null || this.#due === null || Math.abs(due - this.#due) > SAME_CALL_MS;
		if (moved) this.#called = due !== null && due < performance.now() - SAME_CALL_MS;
		this.#due = due;
	}

	left_s() {
		return this.#due === null ? null : (this.#due - performance.now()) / 1000;
	}

	look() {
		if (this.#due === null || this.#called || this.left_s() > 0) return;
		this.#called = true;
		if (!this.armed) return;
		for (const at_s of [0, 0.35, 0.7]) this.#tone(at_s, 0.22);
		navigator.vibrate?.([250, 120, 250, 120, 250]);
	}

	#tone(at_s, long_s) {
		if (!this.#audio) return;
		const [tone, loud] = [this.#audio.createOscillator(), this.#audio.createGain()];
		const start = this.#audio.currentTime + at_s;
		tone.frequency.value = 880;
		loud.gain.setValueAtTime(0.35, start);
		loud.gain.exponentialRampToValueAtTime(0.001, start + long_s);
		tone.connect(loud).connect(this.#audio.destination);
		tone.start(start);
		tone.stop(start + long_s);
	}
}

/** The view 'Now'. */
export function nowView(app) {
	const call = new Call();
	by("arm").addEventListener("click", () => {
		call.arm();
		by("arm").ariaPressed = String(call.armed);
		put(by("arm"), call.armed ? "Sound is on" : "Call me with a sound");
	});

	function update() {
		const state = app.state;
		put(by("sentence"), state.now?.sentence || "There is not enough in the log yet to say anything.");
		put(by("advice"), state.now?.what_to_do || "");
		by("advice").hidden = !state.now?.what_to_do;
		call.plan(state.now?.next_look_s, app.feed.heard);
		put(by("exposure"), listening(state.exposure_s, state.exposure_max_s));
		const cannot = state.could_not ?? [];
		fill(by("could-not").lastElementChild, ...cannot.map((text) => el("li", String(text))));
		by("could-not").hidden = !cannot.length;
		tick();
	}

	function tick() {
		call.look();
		const seconds = call.left_s();
		const words = seconds === null ? "" : seconds > 0 ? clockText(seconds) : "now";
		by("next").hidden = !words;
		put(by("left"), words);
		const state = app.state;
		const title = words === "now" ? "● Look now" : words ? `${words} to the next look` : "satdiag live";
		document.title = state?.job ? `${title} – ${state.job}` : title;
		if (!state) return;
		const aged_s = (performance.now() - app.feed.heard) / 1000;
		const age = (age_s) => (typeof age_s === "number" ? `${spell(age_s + aged_s)} ago` : "never");
		lines(by("level-list"), "No level was read yet.", (state.levels ?? []).map((one) =>
			[String(one.path).replace(":", " "), reading(one.value, one.unit), age(one.age_s), bars(one)]));
		lines(by("source-list"), "No source but this page.", (state.sources ?? []).map((one) =>
			[one.name, one.trouble ? `▲ ${one.trouble}` : one.state || "unknown", age(one.age_s), "", Boolean(one.trouble)]));
		const analysed = state.analysis_age_s;
		put(by("kept"), [`${state.rows ?? 0} rows are saved`, state.held ? `${state.held} are held in memory` : "",
			typeof analysed === "number" ? `worked out ${age(analysed)}` : ""].filter(Boolean).join(", ") + ".");
	}

	return { id: "now", update, tick };
}

function listening(low_s, high_s) {
	if (typeof low_s !== "number") return "It is not known how long the receiver has listened.";
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
			el("span.bars", { "aria-hidden": "true" }), el("span.age"))) : [el("li", none)]));
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
