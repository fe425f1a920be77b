// Buttons that note the moment at which they are touched, and the words for what was entered.

import { el, markOf } from "./dom.js";

const LONGEST_PRESS_MS = 3000;

/** Call `handler(stamp)` on a click, with the moment of the touch (or key) that began it. */
export function press(button, clock, handler) {
	let begun = null;
	const begin = () => (begun = clock.stamp());
	button.addEventListener("pointerdown", (event) => event.isPrimary && event.button === 0 && begin());
	button.addEventListener("keydown", (event) => !event.repeat && [" ", "Enter"].includes(event.key) && begin());
	button.addEventListener("pointercancel", () => (begun = null)); // it became a scroll
	button.addEventListener("click", () => {
		const fits = begun && performance.now() - begun.mono_ms < LONGEST_PRESS_MS;
		const stamp = fits ? begun : clock.stamp();
		begun = null;
		handler(stamp);
	});
	return button;
}

/** A button that enters something when pressed. `label`: what a screen reader says, if not the text. */
export function target(app, look, text, handler, label = null) {
	return press(el(`button.${look}`, text, { "aria-label": label }), app.clock, handler);
}

const WORDS = {
	audio: "sound heard",
	title: "title seen",
	requested: "changed channel",
	abandoned: "gave up",
	seen: "restarted by itself",
	"no-signal": "could not tell",
};

/** A value in plain words; `-` becomes a blank. */
export function plain(value) {
	return WORDS[value] ?? String(value).replaceAll("-", " ");
}

/** What a tap says, in words. */
export function wordsOf({ kind, subject, value, unit, note }) {
	if (kind === "channel") return `channel ${subject}: ${markOf(value).word}`;
	if (kind === "tune") return `channel ${subject}: ${plain(value)}`;
	if (kind === "withdraw") return "took an entry back";
	if (kind === "note") return `note: ${value}`;
	if (kind === "signal") return `level ${subject.replace(":", " ")}: ${reading(value, unit)}`;
	const about = ["receiver", "vehicle", "service"].includes(subject) ? "" : ` ${subject.replace(":", " ")}`;
	return `${kind}${about}: ${unit ? reading(value, unit) : plain(value)}${note ? ` (${note})` : ""}`;
}

/** A reading with its unit, e.g. '3 of 5 bars', '11.2 dB'. */
export function reading(value, unit) {
	if (value === null || value === undefined || value === "") return "unknown";
	const bars = /^bars\/(\d+)$/.exec(unit ?? "");
	if (value === "unreadable") return "unreadable";
	return bars ? `${value} of ${bars[1]} bars` : `${value} ${unit === "percent" ? "%" : (unit ?? "")}`.trim();
}
