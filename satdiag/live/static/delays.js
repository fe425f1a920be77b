// The card of the view 'Change timing': how long changes took, whether they are slow, and how it was at visits before.

import { ago, by, el, put } from "./dom.js";
import { shape } from "./skyplot.js";
import { Told } from "./told.js";
import { refill } from "./unchanged.js";
import { figure, t } from "./words.js";

const SIGNS = { slow: "▲ ", normal: "✓ ", "go-on": "◷ ", none: "" };
const [DOT, PITCH, HIGHEST, RANGE] = [4.5, 10, 60, 22]; // px: a dot's radius, from dot to dot, of a heap, room for the range
const WIDE = 3.5; // % of the width within which dots are heaped

/** The card; `look()` asks for what is newer. */
export function delaysCard(app) {
	const parts = { head: el("p.state-word", { role: "status" }), said: el("ul.plainlist"), beside: el("div"), text: el("p"), drawn: el("div.delays"), legend: el("ul.delay-legend"),
		rows: el("tbody"), cannot: el("ul.plainlist"), age: el("p.small") };
	const heads = [t("changes"), t("seconds"), t("waits that ended without it, after seconds")];
	const table = el("details", el("summary", t("The times in a table")), el("div.delay-scroll", { tabindex: "0", role: "group", "aria-label": t("The times in a table") },
		el("table.delay-table", el("thead", el("tr", heads.map((head) => el("th", head, { scope: "col" })))), parts.rows)));
	const cannot = el("details", el("summary", t("What could not be worked out")), parts.cannot);
	const told = new Told(app, "timing", draw);
	parts.beside.append(el("h3", t("Compared with the visit before")), parts.text);
	by("delays").append(parts.head, parts.said, parts.beside, parts.drawn, parts.legend, table, cannot, parts.age);
	draw({ number: 0 });

	function draw({ number, ...some }) {
		const known = number > 0;
		put(parts.head, known ? `${SIGNS[some.state]}${some.head}` : t("The log has not been analysed yet."));
		parts.head.dataset.state = known ? some.state : "none";
		const groups = known ? some.groups : [];
		refill(parts.said, some.said, () => (some.said ?? []).map((text) => el("li", text)));
		put(parts.text, some.beside ?? "");
		parts.beside.hidden = !some.beside;
		for (const part of [parts.drawn, parts.legend, table]) part.hidden = !groups.length;
		refill(parts.drawn, [groups, some.line_s, some.end_s], () => [...groups.map((group) => groupOf(group, some)), groups.length ? axis(some) : null]);
		refill(parts.legend, [groups, some.line_s], () => legend(groups, some.line_s));
		refill(parts.rows, groups, () => groups.flatMap((group) => group.rows.map((row) => line(group, row))));
		cannot.hidden = !some.could_not?.length;
		refill(parts.cannot, some.could_not, () => (some.could_not ?? []).map((text) => el("li", text)));
		age();
	}

	function age() {
		const worked_s = app.state?.analysis_age_s;
		put(parts.age, typeof worked_s === "number" ? t("Analysed {time}.", { time: ago(worked_s) }) : "");
	}

	return { look: () => (told.look(), document.body.dataset.view === "timing" && age()) };
}

function groupOf(group, some) {
	return el("div", el("h3", group.title), group.rows.map((row) => el("div", el("p.small", `${row.title}: ${row.text}`), strip(row, some))));
}

/** One row of dots, each a change at its time, with the median and its range beneath. */
function strip(row, { line_s, end_s }) {
	const at = (s) => `${(100 * Math.min(s / end_s, 1)).toFixed(2)}%`;
	const heaps = new Map();
	const marks = row.times.map(([s, came]) => {
		const heap = Math.round((100 * Math.min(s / end_s, 1)) / WIDE);
		const nth = heaps.get(heap) ?? 0;
		heaps.set(heap, nth + 1);
		return { s, came, nth };
	});
	const most = Math.max(1, ...heaps.values());
	const pitch = Math.min(PITCH, HIGHEST / most);
	const floor = 2 * DOT + 2 + pitch * (most - 1); // under the lowest dots
	const high = floor + (row.median === null ? 4 : RANGE);
	const made = shape("svg", { class: "delay-strip", height: high, width: "100%", role: "img", "aria-label": row.alt });
	if (row.mark === "audio" && line_s) made.append(shape("line", { x1: at(line_s), x2: at(line_s), y1: 0, y2: high, class: "delay-line" }));
	made.append(shape("line", { x1: 0, x2: "100%", y1: floor, y2: floor, class: "delay-floor" }));
	for (const { s, came, nth } of marks) made.append(one(at(s), floor - DOT - 1 - nth * pitch, came));
	if (row.median !== null) made.append(...range(row, at, floor + RANGE / 2));
	return made;
}

/** A change that came as a full dot, a wait that ended without as an open arrow: it would have taken longer. */
function one(x, y, came) {
	if (came) return shape("circle", { cx: x, cy: y, r: DOT, class: "delay-dot" });
	const inner = shape("svg", { x, y, overflow: "visible" });
	inner.append(shape("path", { d: "M-4 -4.5L5 0L-4 4.5Z", class: "delay-open" }));
	return inner;
}

function range({ median, low, high, ranged }, at, y) {
	const bar = ranged ? [shape("line", { x1: at(low), x2: high === null ? "100%" : at(high), y1: y, y2: y, class: "delay-range" })] : [];
	const tick = shape("line", { x1: at(median), x2: at(median), y1: y - 8, y2: y + 8, class: "delay-median" });
	return [...bar, tick];
}

/** The scale beneath, in seconds. */
function axis({ end_s }) {
	const step = [0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300].find((s) => end_s / s <= 6) ?? 600;
	const made = shape("svg", { class: "delay-axis", height: 26, width: "100%", "aria-hidden": "true" });
	for (let s = 0; s <= end_s; s += step) {
		const x = `${((100 * s) / end_s).toFixed(2)}%`;
		const anchor = s === 0 ? "start" : s + step > end_s && s > 0.93 * end_s ? "end" : "middle";
		made.append(shape("line", { x1: x, x2: x, y1: 0, y2: 6, class: "delay-floor" }),
			shape("text", { x, y: 21, "text-anchor": anchor }, s === 0 ? "0 s" : figure(s, step < 1 ? 1 : 0)));
	}
	return made;
}

function legend(groups, line_s) {
	const key = (...shapes) => {
		const made = shape("svg", { class: "delay-key", width: 34, height: 20, "aria-hidden": "true" });
		made.append(...shapes);
		return made;
	};
	const rows = groups.flatMap((group) => group.rows);
	const line = (kind, ...[x1, y1, x2, y2]) => shape("line", { x1, y1, x2, y2, class: kind });
	return [
		el("li", key(one(17, 10, true)), el("span", t("one change"))),
		rows.some((row) => row.times.some(([, came]) => !came)) && el("li", key(one(17, 10, false)), el("span", t("the wait ended here without it"))),
		rows.some((row) => row.ranged) && el("li", key(line("delay-range", 2, 10, 32, 10), line("delay-median", 15, 2, 15, 18)),
			el("span", t("half are done within this, with its 90 % range"))),
		line_s && el("li", key(line("delay-line", 17, 0, 17, 20)), el("span", t("slow if half take longer to the sound than {time} s", { time: figure(line_s, 1) }))),
	];
}

function line(group, { title, times }) {
	const said = (wanted) => times.filter(([, came]) => came === wanted).map(([s]) => figure(s, 1)).join("; ") || "–";
	return el("tr", el("th", { scope: "row" }, `${group.title}, ${title}`), el("td", said(true)), el("td", said(false)));
}
