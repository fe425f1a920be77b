// The figure 'Levels over time'.

import { by } from "./dom.js";
import { drawing } from "./drawing.js";
import { nameOf, reading, said } from "./press.js";
import { language, t, tn } from "./words.js";

const EVERY_MS = 2000;
const COLOURS = ["#0072b2", "#d55e00", "#009e73", "#cc79a7"]; // Okabe and Ito; 3:1 and more on the cards of both themes
const DASHES = ["solid", "dash", "dot", "dashdot", "longdash"];
const SIGNS = { en: ".,", es: ",.", fr: ", " }[language]; // decimal sign and grouping
const SHAPES = ["circle", "square", "diamond", "triangle-up", "x"];

/** A text as the library may print it: it reads &, < and > as tags, and would make links. */
export function label(text) {
	const safe = { "&": "&amp;", "<": "&lt;", ">": "&gt;" };
	const short = String(text).slice(0, 40);
	return short.replace(/[&<>]/g, (mark) => safe[mark]);
}

/** The figure on the view 'Now': drawn anew every 2 s while it is open and seen. */
export function levelsFigure() {
	drawing({ box: by("over-time"), place: by("figure"), said: by("figure-said"), path: "/levels", every_ms: EVERY_MS, words: inWords,
		plot(told) {
			const paths = told.paths.filter((one) => one.spread);
			return paths.length ? { data: paths.map(trace), layout: layout(told, paths) } : null;
		} });
}

function unitsOf(paths) {
	return [...new Set(paths.map((one) => one.unit))];
}

function trace(one, n, all) {
	const colour = n < COLOURS.length ? COLOURS[n] : ink("--ink");
	const axis = unitsOf(all).indexOf(one.unit);
	const apart = (ends, sign) => ends.map((end, k) => (end === null ? null : sign * (end - one.median[k])));
	return {
		type: "scatter", mode: "lines+markers", name: label(nameOf(one.path)), x: one.at_s.map((s) => s / 60), y: one.median,
		yaxis: axis ? `y${axis + 1}` : "y", connectgaps: false, line: { color: colour, width: 2, dash: DASHES[n % DASHES.length] },
		marker: { color: colour, size: 9, symbol: SHAPES[n % SHAPES.length], maxdisplayed: 16 },
		error_y: { type: "data", symmetric: false, array: apart(one.high, 1), arrayminus: apart(one.low, -1), width: 0, thickness: 1,
			color: colour },
		hovertemplate: `%{y} ${label(axisUnit(one.unit))}, %{x:.1f} min<extra></extra>`,
	};
}

function layout(told, paths) {
	const axis = (title, more) => ({ title: { text: title, standoff: 6 }, color: ink("--soft"), gridcolor: ink("--line"), zeroline: false,
		fixedrange: true, automargin: true, ...more });
	const units = unitsOf(paths);
	const made = {
		height: 260 + 170 * (units.length - 1), margin: { l: 8, r: 8, t: 8, b: 8 }, paper_bgcolor: "#0000", plot_bgcolor: "#0000",
		font: { family: "system-ui, sans-serif", size: 13, color: ink("--ink") }, dragmode: false, hovermode: "closest",
		separators: SIGNS, showlegend: true, legend: { orientation: "h", x: 0, y: 1.02, yanchor: "bottom" },
		xaxis: axis(told.end === "now" ? t("minutes before now") : t("minutes before the latest level"), { range: [-told.window_s / 60, 0.5],
			tickvals: [-30, -25, -20, -15, -10, -5, 0], ticktext: ["30", "25", "20", "15", "10", "5", "0"] }),
	};
	units.forEach((unit, n) => {
		const high = 1 / units.length;
		const bars = /^bars\/(\d+)$/.exec(unit);
		made[`yaxis${n ? n + 1 : ""}`] = axis(t("level ({unit})", { unit: label(axisUnit(unit)) }), { domain: [n * high, (n + 1) * high - (n + 1 < units.length ? 0.09 : 0)],
			...(bars ? { range: [-0.2, Number(bars[1]) + 0.2] } : {}) });
	});
	return made;
}

function axisUnit(unit) {
	return unit === "percent" ? "%" : unit.replace(/^bars\/(\d+)$/, (whole, bars) => t("bars, 0 to {bars}", { bars }));
}

function ink(name) {
	return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

/** The figure in a sentence. */
function inWords({ end, paths }) {
	const parts = paths.map(({ path, unit, spread }) => {
		const name = nameOf(path);
		if (!spread) return t("{path} no reading", { path: name });
		const [low, median, high] = spread.slice(0, 3).map((number) => String(Math.round(number * 10) / 10));
		return tn("{path} least {low}, median {median}, greatest {high} (one reading)",
			"{path} least {low}, median {median}, greatest {high} ({n} readings)", spread[3],
			{ path: name, low: said(low), median: said(median), high: reading(high, unit) });
	});
	if (!parts.length) return t("No level was read in the last half hour.");
	const values = { levels: parts.join("; ") };
	return end === "now" ? t("In the last half hour: {levels}.", values) : t("In the half hour before the latest level: {levels}.", values);
}
