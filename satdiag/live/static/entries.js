// The latest entries; any can be taken back. It stays, struck through.

import { by, el, fill, put } from "./dom.js";
import { press, wordsOf } from "./press.js";
import { language, t } from "./words.js";

const SHOWN = 25;
const SOURCES = { page: t("page"), recorder: t("recorder"), hand: t("hand") };
const CLOCK = new Intl.DateTimeFormat(language, { timeStyle: "medium", hour12: false }); // to make one takes long
const sourceName = (source) => (Object.hasOwn(SOURCES, source) ? SOURCES[source] : source);

/** The list beside the views (below 'By hand' on a phone). */
export function entriesView(app) {
	let most = SHOWN;
	let drawn = "";
	by("more").addEventListener("click", () => {
		most += 50;
		update();
	});

	function line({ id, time, kind, words, withdrawn, waits, fixed, source }) {
		// The recorder's notes tell what was changed: without the note it would be changed all the same.
		const tells = kind === "note" && source === "recorder";
		const undo = id && !withdrawn && !fixed && !tells ? press(el("button.plain", t("Take back"), { "aria-label": t("Take back: {words}", { words }) }),
			app.clock, (stamp) => app.withdraw(id, stamp)) : null;
		return el("li", el("span.age", clockOf(time)), el("span.body", el(withdrawn ? "s" : "span", words),
			el("span.small", withdrawn ? t("taken back") : waits ? t("waiting") : sourceName(source))), undo);
	}

	function update() {
		const waiting = app.queue.waiting();
		const back = new Set([...app.taken, ...waiting.filter((tap) => tap.kind === "withdraw").map((tap) => tap.value)]);
		const held = app.state?.entries ?? [];
		const ids = new Set(held.map((one) => one.id));
		const local = waiting.filter((tap) => !ids.has(`p-${tap.key}`)).map((tap) =>
			({ id: `p-${tap.key}`, time: tap.wall_ms, words: wordsOf(tap), waits: true, fixed: tap.kind === "withdraw" }));
		const all = [...local, ...held].map((one) => ({ ...one, withdrawn: one.withdrawn || back.has(one.id), at_ms: +new Date(one.time) }))
			.sort((a, b) => b.at_ms - a.at_ms);
		const key = JSON.stringify([all.slice(0, most), all.length]);
		if (key === drawn) return;
		drawn = key;
		fill(by("entries"), ...(all.length ? all.slice(0, most).map(line) : [el("li.none", t("None yet."))]));
		by("more").hidden = all.length <= most;
		put(by("more"), t("Show more ({n})", { n: all.length - most }));
	}

	return { update };
}

function clockOf(time) {
	const date = new Date(time);
	return Number.isNaN(date.getTime()) ? "" : CLOCK.format(date);
}
