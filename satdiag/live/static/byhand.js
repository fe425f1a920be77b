// What is read or done by hand. The targets that never change stand in the page and say what they enter:
// data-enter="kind subject value [unit]"; data-ask="kind subject unit" asks for the value on the number pad.

import { by, el } from "./dom.js";
import { askNumber } from "./pad.js";
import { nameOf, press, target, wordOf } from "./press.js";
import { arrange } from "./touched.js";
import { t } from "./words.js";

const MOST_BARS = 12; // more are typed on the number pad

/** The view 'By hand'. */
export function byHandView(app) {
	const [scale, note] = [by("scale"), by("note")];
	// A key that is being pressed is not exchanged under the finger, and keeps its focus.
	const rows = new Map();

	function enter(kind, subject, value, unit, stamp) {
		return app.enter({ kind, subject, value, unit: value === "unreadable" ? "" : unit }, stamp);
	}

	for (const key of document.querySelectorAll("[data-enter]")) {
		const [kind, subject, value, unit] = key.dataset.enter.split(" ");
		press(key, app.clock, (stamp) => enter(kind, subject, value, unit, stamp));
	}
	for (const key of document.querySelectorAll("[data-ask]")) {
		const [kind, subject, unit] = key.dataset.ask.split(" ");
		key.addEventListener("click", () =>
			askNumber(app, key.ariaLabel || key.textContent, unit, false, (value, at) => enter(kind, subject, value, unit, at)));
	}
	press(by("put-note"), app.clock, (stamp) => {
		const text = note.value.trim().replace(/\s+/g, " ");
		if (text && enter("note", "", text, undefined, stamp)) note.value = "";
	});
	scale.addEventListener("change", () => update());

	function paths() {
		const known = (app.state?.levels ?? []).map((one) => String(one.path));
		const fits = /^(any|repeater|satellite(:[A-Za-z0-9][A-Za-z0-9._-]*)?)$/;
		return [...new Set([...known, "satellite", "repeater", "any"])].filter((path) => fits.test(path));
	}

	function unitOf(path) {
		const read = app.state?.levels?.find((one) => one.path === path)?.unit;
		return app.sheet("receiver.level_scale") || read || scale.value;
	}

	function levelKeys(path, unit) {
		const say = (value) => (stamp) => enter("signal", path, value, unit, stamp);
		const bars = Number(/^bars\/(\d+)$/.exec(unit)?.[1]);
		const keys = bars <= MOST_BARS
			? Array.from({ length: bars + 1 }, (_, n) => target(app, "bar-key", String(n), say(String(n)),
				t("{value} of {bars} bars", { value: n, bars })))
			: el("button.choice-key", t("Number in {unit}", { unit }), { click: () =>
				askNumber(app, t("Level, {path}", { path: nameOf(path) }), unit, true, (value, stamp) => say(value)(stamp)) });
		return [keys, target(app, "choice-key", wordOf("unreadable"), say("unreadable"))];
	}

	function row(label, path, unit, keys) {
		if (rows.get(label)?.dataset.unit !== unit) rows.set(label, el("div.asked", { role: "group", "aria-label": label, "data-unit": unit },
			el("span", nameOf(path)), el("div.choices", keys())));
		return rows.get(label);
	}

	function update() {
		const dual = app.sheet("receiver.antenna_lead") === "dual";
		for (const key of document.querySelectorAll("[data-lead]")) key.hidden = (key.dataset.lead === "dual") !== dual;
		const some = paths().map((path) => [path, unitOf(path)]);
		by("scale-row").hidden = some.every(([, unit]) => unit) && !scale.value;
		arrange(by("levels"), some.filter(([, unit]) => unit).map(([path, unit]) =>
			row(t("Level, {path}", { path: nameOf(path) }), path, unit, () => levelKeys(path, unit))));
		arrange(by("locks"), some.map(([path]) => row(t("Lock, {path}", { path: nameOf(path) }), path, "", () => ["yes", "no"].map((value) =>
			target(app, "choice-key", wordOf(value), (stamp) => enter("lock", path, value, undefined, stamp))))));
	}

	return { id: "byhand", update };
}
