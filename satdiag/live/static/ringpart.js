// The optical ring of the view 'Wiring': what is known, the entries, the plan of moves to tick, where it is broken.

import { el, kept, put } from "./dom.js";
import { askNumber } from "./pad.js";
import { target } from "./press.js";
import { ringFigures } from "./ringdraw.js";
import { refill } from "./unchanged.js";
import { t } from "./words.js";

/** The ring in a place: what is told above, the keys that never change between. */
export function ringPart(app, place) {
	const [drawn, plan, broken, units] = [el("div.part"), el("div.part"), el("div.part"), el("div.part")];
	place.append(drawn, el("div.enters",
		el("div.asked", { role: "group", "aria-label": t("The ring") }, el("span", t("The ring")), el("div.choices",
			enter(t("closed"), "bus", "closed"), enter(t("open"), "bus", "open"))),
		el("div.asked", { role: "group", "aria-label": t("Our receiver on the ring") }, el("span", t("Our receiver on the ring")), el("div.choices",
			enter(t("answers"), "node:receiver", "present"), enter(t("does not answer"), "node:receiver", "absent")))),
	units, plan, broken);

	function enter(word, subject, value) {
		return target(app, "choice-key", word, (stamp) => app.enter({ kind: "ring", subject, value }, stamp));
	}

	/** The other units, each with its two answers. */
	function others(nodes) {
		if (nodes.length < 2) return [];
		return [el("details.enters", { "data-key": "units" }, el("summary", t("Do the other units answer?")), nodes.slice(1).map((name) =>
			el("div.asked", { role: "group", "aria-label": name }, el("span", name), el("div.choices",
				enter(t("answers"), `node:${name}`, "present"), enter(t("does not answer"), `node:${name}`, "absent")))))];
	}

	function update(told) {
		refill(drawn, [told.file, told.loops, told.bus], () => (told.file ? ringFigures(told)
			: [el("p", t("The job has no ring.toml, so the units, their order and the plugs are not known. On the laptop, the command satdiag ring new writes one to begin with; satdiag docs ring tells how to fill it in."))]));
		refill(units, told.nodes, () => others(told.nodes));
		refill(plan, told.plan, () => planned(told.plan));
		refill(broken, [told.broken, told.nodes], () => (told.broken ? breaking(told.broken, told.nodes) : []));
	}

	/** Nothing is known: there is no analysis, or another job is served. */
	function clear() {
		for (const place of [drawn, units, plan, broken]) refill(place, null, () => []);
	}

	/** The plan as steps to tick; ticks stay on this device, by job and plan. */
	function planned(told) {
		if (!told) return [];
		const name = `satdiag.ring.${app.state?.job ?? ""}`;
		const before = kept(name);
		const done = new Set(before?.id === told.id ? before.done : []);
		const count = el("strong.count-of", { role: "status" });
		const all = told.groups.filter((group) => group.key !== "back").flatMap((group) => group.steps);
		const tell = () => put(count, t("{done} of {all} done", { done: all.filter((one) => done.has(one.key)).length, all: all.length }));
		const tick = (key) => (event) => {
			if (event.target.checked) done.add(key);
			else done.delete(key);
			kept(name, { id: told.id, done: [...done] });
			tell();
		};
		const step = (one) => el("li", el("label.do", el("input", { type: "checkbox", checked: done.has(one.key), change: tick(one.key) }),
			el("span", el("span", one.name ? el("strong", `${one.name}. `) : null, one.text), one.mind ? el("span.care", t("▲ {mind}", { mind: one.mind })) : null)));
		const list = (group) => el("ol.dos", group.steps.map(step));
		const head = t("Plan of the plugs: {title}", { title: told.title });
		if (!all.length) return [el("h3", head), el("p", told.answer)];
		tell();
		return [el("details", { "data-key": "plan", open: done.size > 0 }, el("summary", el("h3", head)), el("div.part", el("p", told.answer), count,
			told.groups.map((group) => (group.key === "back" ? el("details", { "data-key": "back" }, el("summary", group.title), list(group))
				: [el("h4", group.title), group.key === "steps" ? fibre() : null, list(group)])),
			el("p.small", t("Ticks stay on this device: they are no entries of the log."))))];
	}

	function fibre() {
		return el("p.care", t("▲ Ignition off and the bus asleep. Never look into a fibre or a socket. Bends of 25 mm radius or more."));
	}

	/** What the positions say, the test to do next, and a key for each unit's position. */
	function breaking(told, nodes) {
		const [next, ...later] = told.tests;
		return [el("h3", t("Find the break: {title}", { title: told.title })), told.said.map((text) => el("p", text)),
			next ? el("p.next-test", el("strong", t("Next: ")), next) : null,
			told.suspects.length ? el("details", { "data-key": "suspects" }, el("summary", t("What it may be, and further tests")),
				el("ul.plainlist", told.suspects.map((text) => el("li", text))), el("ol.plainlist", later.map((text) => el("li", text)))) : null,
			el("details.enters", { "data-key": "positions" }, el("summary", t("Enter positions of a ring-break test")), el("div.choices", nodes.map((name) => position(name, told.reports[name]))))];
	}

	function position(name, before) {
		const text = before === undefined ? name : t("{unit}: {position}", { unit: name, position: before });
		return el("button.choice-key", text, { click: () => askNumber(app, t("Position that {unit} reports", { unit: name }), "", false, (value, stamp) => {
			if (String(value).includes(".")) return app.say(t("A position is a whole number."), true);
			return app.enter({ kind: "ring", subject: `position:${name}`, value }, stamp);
		}), "aria-label": t("Position of {unit}: {position}", { unit: name, position: before ?? t("not entered") }) });
	}

	return { update, clear };
}
