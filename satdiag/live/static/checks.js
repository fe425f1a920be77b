// The checklist of the installation: states from the log, not ticks of hope, and what would prove what is open.

import { by, el, put } from "./dom.js";
import { target } from "./press.js";
import { refill } from "./unchanged.js";
import { t, tn } from "./words.js";

const SIGNS = { proved: "✓", contradicted: "!", partly: "◐", missing: "", "does-not-apply": "–" };
const COUNTS = [["proved", t("proved")], ["contradicted", t("the log speaks against")], ["partly", t("in part")],
	["missing", t("not shown")], ["does-not-apply", t("do not apply")]];

/** The checklist in a place. `update(told)`: with what the laptop tells of it; `jump(part)`: go to a part of 'Wiring'. */
export function checklist(app, place, jump) {
	const [lead, counts] = [el("p.checks-lead", { "aria-live": "off" }), el("ul.tally")];
	const sections = el("div.sections");
	place.append(lead, counts, el("p.small", t("The boxes are filled from the log, not by hand.")), sections);
	const places = new Map(); // of sections and items, by their keys
	const made = COUNTS.map(([state, word]) => {
		const number = el("strong");
		counts.append(el("li", box(state), number, el("span", word)));
		return [state, number];
	});

	function section({ key, title }) {
		const [name, open, items] = [el("span", title), el("span.open"), el("ul.checks")];
		const folded = el("details", { "data-key": key }, el("summary", el("h3", name, " ", open)), items);
		sections.append(folded);
		places.set(key, { open, items, folded });
		return places.get(key);
	}

	function item(told, parent, is_next) {
		const spot = places.get(`item ${told.key}`) ?? el("li.check");
		if (!places.has(`item ${told.key}`)) {
			places.set(`item ${told.key}`, spot);
			parent.append(spot);
		}
		refill(spot, [told, is_next], () => [box(told.state),
			el("div.checked", el("strong", told.title), el("span.state", is_next ? t("{state} – see to this first", { state: told.said }) : told.said),
				el("span", told.text), told.shown ? el("span.small", told.shown) : null, how(told), proofs(told))]);
	}

	/** What to do, and with what care; of an open item it stands in the open. */
	function how(told) {
		if (["proved", "does-not-apply"].includes(told.state)) return null;
		return [el("span", t("How: {how}", { how: told.how })), told.caution ? el("span.care", t("▲ Care: {care}", { care: told.caution })) : null];
	}

	/** Buttons: to the view or part that proves it, or the entries themselves. */
	function proofs({ title, view, part, entries }) {
		const keys = entries.map(({ group, enter, word }) => {
			const [kind, subject, value] = enter.split(" ");
			const text = group ? t("{unit}: {word}", { unit: group, word }) : word;
			return target(app, "choice-key", text, (stamp) => app.enter({ kind, subject, value }, stamp), `${title}: ${text}`);
		});
		const bar = view && by("bar").querySelector(`[data-view=${view}]`);
		if (bar) keys.push(el("button.choice-key", t("Go to: {view}", { view: bar.textContent.trim() }), { click: () => bar.click() }));
		if (part) keys.push(el("button.choice-key", t("Go to: {view}", { view: by(`wiring-${part}-head`).textContent }), { click: () => jump(part) }));
		return keys.length ? el("div.choices.proofs", keys) : null;
	}

	function update(told) {
		put(lead, told.text);
		for (const [state, number] of made) put(number, told.counts[state] ?? 0);
		for (const one of told.sections) {
			const known = places.has(one.key);
			const spot = places.get(one.key) ?? section(one);
			put(spot.open, one.open ? tn("({n} open)", "({n} open)", one.open) : t("(done)"));
			for (const each of one.items) item(each, spot.items, each.key === told.next);
			if (!known && one.items.some((each) => each.key === told.next)) spot.folded.open = true;
		}
	}

	return { update };
}

/** The box of a state; its word stands beside it. */
function box(state) {
	return el("span.box", { "data-state": state, "aria-hidden": "true" }, SIGNS[state] ?? "");
}
