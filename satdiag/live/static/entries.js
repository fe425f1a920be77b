// The latest entries; any can be taken back. It stays, struck through.

import { by, el, put } from "./dom.js";
import { press, wordsOf } from "./press.js";
import { arrange, handOn, moved, untouched } from "./touched.js";
import { language, t } from "./words.js";

const SHOWN = 25;
const SOURCES = { page: t("page"), recorder: t("recorder"), hand: t("hand") };
const CLOCK = new Intl.DateTimeFormat(language, { timeStyle: "medium", hour12: false }); // to make one takes long
const sourceName = (source) => (Object.hasOwn(SOURCES, source) ? SOURCES[source] : source);

/** The list beside the views (below 'By hand' on a phone). */
export function entriesView(app) {
	const rows = new Map(); // the rows that are shown, by their ids
	const none = el("li.none", t("None yet."));
	let [mine, told] = [[], null]; // what was entered here and the state did not tell, and that state
	let most = SHOWN;
	let drawn = "";
	by("more").addEventListener("click", () => {
		most += 50;
		update();
	});

	function makeRow(id) {
		const [age, words, said] = [el("span.age"), el("span"), el("span.small")];
		const undo = press(el("button.plain", t("Take back")), app.clock, (stamp) => app.taken.has(id) || app.withdraw(id, stamp));
		return { age, words, said, undo, item: el("li", age, el("span.body", words, said)) };
	}

	function paint(row, { id, time, kind, words, withdrawn, waits, fixed, source }) {
		put(row.age, clockOf(time));
		if (withdrawn !== (row.words.localName === "s")) {
			const other = el(withdrawn ? "s" : "span");
			row.words.replaceWith(other);
			row.words = other;
		}
		put(row.words, words);
		put(row.said, withdrawn ? t("taken back") : waits ? t("waiting") : sourceName(source));
		row.undo.ariaLabel = t("Take back: {words}", { words });
		// The recorder's notes tell what was changed: without the note it would be changed all the same.
		const tells = kind === "note" && source === "recorder";
		if (id && !withdrawn && !fixed && !tells) {
			if (!row.undo.parentNode) row.item.append(row.undo);
		} else if (row.undo.parentNode) {
			const held = row.undo === document.activeElement;
			row.undo.remove();
			if (held) handOn(row.item);
		}
	}

	const update = untouched(by("entries"), () => {
		const waiting = app.queue.waiting();
		const back = new Set([...app.taken, ...waiting.filter((tap) => tap.kind === "withdraw").map((tap) => tap.value)]);
		const held = app.state?.entries ?? [];
		const ids = new Set(held.map((one) => one.id));
		const local = waiting.filter((tap) => !ids.has(`p-${tap.key}`)).map((tap) =>
			({ id: `p-${tap.key}`, time: tap.wall_ms, words: wordsOf(tap), waits: true, fixed: tap.kind === "withdraw" }));
		const known = new Set([...ids, ...local.map((one) => one.id), ...app.taken, ...app.queue.refused().map((tap) => `p-${tap.key}`)]);
		const saved = app.state === told ? mine.filter((one) => !known.has(one.id)) : []; // the next state tells of it
		[mine, told] = [[...local, ...saved], app.state];
		const all = [...mine, ...held].map((one) => ({ ...one, withdrawn: one.withdrawn || back.has(one.id), at_ms: +new Date(one.time) }))
			.sort((a, b) => b.at_ms - a.at_ms);
		const key = JSON.stringify([all.slice(0, most), all.length]);
		if (key === drawn) return;
		drawn = key;
		const shown = new Map(); // a row without an id, or with one that was there, has its number
		for (const one of all.slice(0, most)) shown.set(one.id && !shown.has(one.id) ? one.id : `row ${one.n}`, one);
		for (const name of rows.keys()) if (!shown.has(name)) rows.delete(name);
		for (const [name, one] of shown) {
			if (!rows.has(name)) rows.set(name, makeRow(one.id));
			paint(rows.get(name), one);
		}
		if (arrange(by("entries"), shown.size ? [...shown.keys()].map((name) => rows.get(name).item) : [none])) moved(by("entries"));
		by("more").hidden = all.length <= most;
		put(by("more"), t("Show more ({n})", { n: all.length - most }));
	});

	return { update };
}

function clockOf(time) {
	const date = new Date(time);
	return Number.isNaN(date.getTime()) ? "" : CLOCK.format(date);
}
