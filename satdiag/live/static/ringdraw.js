// The optical ring as a drawing: units from top to bottom in the order of the light, and the way back at the right.

import { el } from "./dom.js";
import { t } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const [WIDTH, LEFT, BOX, HEIGHT, GAP, TOP, BACK] = [308, 8, 246, 46, 52, 30, 296];
const MIDDLE = LEFT + BOX / 2;
const MOST_LETTERS = 24;
const ANSWERS = { true: t("✓ answers"), false: t("✕ does not answer"), null: t("? not asked") };

/** A part of a drawing. */
function draw(what, attributes, ...children) {
	const [tag, ...classes] = what.split(".");
	const made = document.createElementNS(SVG, tag);
	if (classes.length) made.setAttribute("class", classes.join(" "));
	for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
	made.append(...children);
	return made;
}

const short = (text, most) => (text.length > most ? `${text.slice(0, most - 1)}…` : text);

/** The drawing of a closed ring or open chain, with its words for whoever does not see it. */
export function ringDrawing(loop, bus) {
	const bottom = TOP + loop.nodes.length * (HEIGHT + GAP);
	const made = draw(`svg.ring${bus === "open" ? ".broken" : ""}`, { viewBox: `0 0 ${WIDTH} ${bottom + 14}`, role: "img", "aria-label": loop.words });
	loop.nodes.forEach((node, n) => {
		const y = TOP + n * (HEIGHT + GAP);
		made.append(...way(loop.links[n], y + HEIGHT, n === loop.nodes.length - 1, bottom));
		made.append(draw(`rect.unit${node.ours ? ".ours" : ""}${node.answers === false ? ".silent" : ""}`, { x: LEFT, y, width: BOX, height: HEIGHT, rx: 10 }),
			draw("text.name", { x: LEFT + 12, y: y + 20 }, short(node.name, MOST_LETTERS)),
			draw("text.said", { x: LEFT + 12, y: y + 37 }, ANSWERS[node.answers]));
	});
	return made;
}

/** The way of the light from a unit to the next; from the last one round to the first. */
function way(link, y, is_last, bottom) {
	const kind = link.state;
	const words = kind === "suspect" ? t("✕ break here?") : kind === "open" ? t("the light ends here") : short(link.over, 34);
	const label = draw(`text.over.${kind}`, { x: MIDDLE - 96, y: y + (is_last ? 22 : 30) }, words);
	const x = LEFT + 20;
	if (!is_last) {
		const line = draw(`path.way.${kind}`, { d: `M${x} ${y}V${y + GAP - 8}` });
		return [line, ...(kind === "open" ? [] : [tip(x, y + GAP)]), label];
	}
	if (kind === "open") return [draw(`path.way.${kind}`, { d: `M${x} ${y}V${y + 24}` }), label];
	const d = `M${x} ${y}V${bottom}H${BACK}V12H${x}V${TOP - 8}`;
	return [draw(`path.way.${kind}`, { d }), tip(x, TOP), label];
}

/** An arrow head that points down to (x, y). */
function tip(x, y) {
	return draw("path.tip", { d: `M${x - 7} ${y - 10}L${x} ${y - 1}L${x + 7} ${y - 10}Z` });
}

/** All rings and chains, each with a heading where there are several, and what the drawing rests on. */
export function ringFigures({ loops, bus }) {
	return loops.map((loop, n) => el("figure.ringbox",
		loops.length > 1 ? el("figcaption", loop.closed ? t("Closed ring {n}", { n: n + 1 }) : t("Open chain {n}", { n: n + 1 })) : null,
		ringDrawing(loop, bus),
		el("ol.order", loop.nodes.map((node) => el("li", `${node.name}: ${ANSWERS[node.answers]}`))),
		loop.drawn === "wanted" ? el("p.small", t("Drawn in the wanted order: how it is plugged is not written in ring.toml.")) : null));
}
