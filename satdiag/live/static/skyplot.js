// The sky as a picture: the zenith in the middle, the horizon as the rim, north or the vehicle's nose up.
// Lengths are hundredths of the rim's radius, x to the right, y down. Marks and words stay upright when it is turned.

import { t } from "./words.js";

const RIM = 100;
const BOX = 126; // half the side of the picture
const LETTERS = 112; // where the compass letters stand
const NS = "http://www.w3.org/2000/svg";
const [LINE, LETTER] = [12, 5.9]; // height of a line of words, width of a letter, for finding room
const SIDES = [[1, 0], [-1, 0], [0, 1], [0, -1], [1, 1], [-1, 1], [1, -1], [-1, -1]]; // liked best first
const AWAY = 12; // from the middle of a mark to its words

/** The eight letters of the compass, from north on, clockwise. */
export const winds = () => t("N NE E SE S SW W NW").split(" ");

/** Where a direction is drawn, [x, y], if `up_deg` (an azimuth) is up. The rim is the horizon, 0 degrees. */
export function place(azimuth_deg, elevation_deg, up_deg = 0) {
	const reach = (RIM * (90 - Math.min(Math.max(elevation_deg, 0), 90))) / 90;
	return polar(azimuth_deg - up_deg, reach);
}

function polar(angle_deg, reach) {
	const angle = (angle_deg * Math.PI) / 180;
	return [reach * Math.sin(angle), -reach * Math.cos(angle)];
}

/** An element of the picture. */
export function shape(tag, attributes = {}, ...children) {
	const made = document.createElementNS(NS, tag);
	for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
	made.append(...children);
	return made;
}

const line = (points) => points.map(([x, y], n) => `${n ? "L" : "M"}${x.toFixed(2)} ${y.toFixed(2)}`).join("");
const ring = (azimuths, elevations) => `${line(azimuths.map((azimuth, n) => place(azimuth, elevations[n])))}Z`;

/** The parts of a skyline that are alike, each as azimuths' ends and elevations: {measured, sectors: [[from, to, edge]]}. */
export function sectors(mask) {
	const half = 180 / mask.azimuth_deg.length;
	const all = mask.azimuth_deg.map((azimuth, n) => [azimuth - half, azimuth + half, mask.edge_deg[n]]);
	return [true, false].map((measured) => ({ measured, sectors: all.filter((_, n) => mask.measured[n] === measured) }));
}

/** One sector of the sky between two elevations, as a path. */
function cell([from, to, edge_deg], open) {
	const [inner, outer] = open ? [90, edge_deg] : [edge_deg, 0];
	return `${line([[from, inner], [to, inner], [to, outer], [from, outer]].map(([at, height]) => place(at, height)))}Z`;
}

/** The mark of a satellite by how likely it is clear; its shape tells it as well as its colour. */
export function markShape(kind) {
	if (kind === "doubtful") return shape("path", { d: "M0 -8L8 6.5H-8Z", class: "sky-mark doubtful" });
	if (kind === "hidden") return shape("g", {}, shape("path", { d: "M-6 -6L6 6M6 -6L-6 6", class: "sky-mark-under" }),
		shape("path", { d: "M-6 -6L6 6M6 -6L-6 6", class: "sky-mark hidden-way" }));
	return shape("circle", { r: 7, class: `sky-mark ${kind}` });
}

/** The point of a navigation satellite: the larger the stronger; a cross if it is listed and not heard. */
export function pointShape(kind) {
	const radius = { strong: 4, fair: 3, weak: 2 }[kind];
	if (!radius) return shape("path", { d: "M-2.6 -2.6L2.6 2.6M2.6 -2.6L-2.6 2.6", class: "sky-point unheard" });
	if (kind === "weak") return shape("path", { d: "M0 -3.4L3.4 0L0 3.4L-3.4 0Z", class: "sky-point weak" });
	return shape("circle", { r: radius, class: `sky-point ${kind}` });
}

function trailShape(kind) {
	if (kind === "strong") return shape("circle", { r: 1.4, class: "sky-trail strong" });
	if (kind === "weakened") return shape("path", { d: "M0 -2.2L2.2 0L0 2.2L-2.2 0Z", class: "sky-trail weakened" });
	return shape("path", { d: "M-1.6 -1.6L1.6 1.6M1.6 -1.6L-1.6 1.6", class: "sky-trail unheard" });
}

/** On which side of each mark its words find room: [{x, y, lines}] becomes [[right, down]] of -1, 0 or 1.
 * `taken`: boxes [left, top, right, bottom] that are to be kept free. */
export function sidesFor(marks, taken = []) {
	const boxes = [...taken];
	return marks.map((mark, number) => {
		const others = marks.filter((_, n) => n !== number).map(({ x, y }) => [x - 8, y - 8, x + 8, y + 8]);
		const options = SIDES.map((side, liked) => {
			const box = boxOf(mark, side);
			const over = [...others, ...boxes].reduce((sum, other) => sum + shared(box, other), 0);
			const beyond = Math.max(0, -BOX - box[0], box[2] - BOX) + Math.max(0, -BOX - box[1], box[3] - BOX);
			return { side, box, cost: over + 40 * beyond + liked };
		});
		const best = options.reduce((one, other) => (other.cost < one.cost ? other : one));
		boxes.push(best.box);
		return best.side;
	});
}

function boxOf({ x, y, lines }, [right, down]) {
	const [wide, high] = [LETTER * Math.max(...lines.map((one) => one.length)), LINE * lines.length];
	const [middle_x, middle_y] = [x + right * (AWAY + wide / 2), y + down * (AWAY + high / 2)];
	return [middle_x - wide / 2, middle_y - high / 2, middle_x + wide / 2, middle_y + high / 2];
}

function shared(one, other) {
	const wide = Math.min(one[2], other[2]) - Math.max(one[0], other[0]);
	const high = Math.min(one[3], other[3]) - Math.max(one[1], other[1]);
	return wide > 0 && high > 0 ? wide * high : 0;
}

/** The patterns that tell measured from inferred, once for a page. */
function patterns() {
	return shape("defs", {},
		shape("pattern", { id: "sky-dots", width: 4, height: 4, patternUnits: "userSpaceOnUse" },
			shape("rect", { width: 4, height: 4, class: "sky-ground measured" }), shape("circle", { cx: 2, cy: 2, r: 0.9, class: "sky-dot" })),
		shape("pattern", { id: "sky-hatch", width: 6, height: 6, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
			shape("rect", { width: 6, height: 6, class: "sky-ground inferred" }), shape("path", { d: "M0 0V6", class: "sky-line" })));
}

/** How the sky behind a skyline looks: dotted where it was measured, hatched where it is only inferred. */
export function blocked(measured) {
	return { class: `sky-blocked ${measured ? "measured" : "inferred"}`, fill: measured ? "url(#sky-dots)" : "url(#sky-hatch)" };
}

/** The picture. `root`: its element. */
export class Skyplot {
	#still = shape("g"); // what looks the same whichever way is up
	#turned = shape("g"); // what turns as a whole
	#upright = shape("g"); // what moves and stays upright
	#site = null;
	#up_deg = 0;
	#nose_deg = null;

	constructor() {
		this.root = shape("svg", { viewBox: `${-BOX} ${-BOX} ${2 * BOX} ${2 * BOX}`, class: "skyplot", role: "img" },
			patterns(), this.#turned, this.#still, this.#upright);
	}

	/** Draw a site as the laptop told it. `trail`: the whole stay's navigation satellites instead of the last ones. */
	draw(site, least_deg, trail) {
		this.#site = { ...site, showsTrail: trail };
		this.root.setAttribute("aria-label", site.alt);
		this.#turned.replaceChildren(shape("circle", { r: RIM, class: "sky-open" }), ...maskShapes(site.mask),
			...spokes(), ...ways(site.ways), ...(trail ? trailShapes(site.trail) : []));
		this.#still.replaceChildren(...rings(least_deg));
		this.#place();
	}

	/** Turn it so that an azimuth is up; `nose_deg`: where the vehicle's nose points, null where it is not known. */
	turn(up_deg, nose_deg) {
		[this.#up_deg, this.#nose_deg] = [up_deg, nose_deg];
		this.#place();
	}

	#place() {
		if (!this.#site) return;
		const up = this.#up_deg;
		this.#turned.setAttribute("transform", `rotate(${-up})`);
		const at = ([x, y], ...made) => shape("g", { transform: `translate(${x.toFixed(2)} ${y.toFixed(2)})` }, ...made);
		const spots = winds().map((_, n) => polar(45 * n - up, LETTERS));
		const letters = winds().map((wind, n) => at(spots[n],
			shape("text", { class: n ? "sky-wind" : "sky-wind north", dy: "0.35em" }, wind)));
		const hours = this.#site.ways.flatMap(hourMarks).map(([azimuth, elevation, text]) => ({ spot: place(azimuth, elevation, up), text }));
		const clocks = hours.map(({ spot, text }) => at(spot, shape("text", { class: "sky-hour", x: 4, dy: "0.35em" }, text)));
		const taken = [...spots.map(([x, y]) => [x - 9, y - 7, x + 9, y + 7]),
			...hours.map(({ spot: [x, y], text }) => [x, y - 5, x + 4 + 5 * text.length, y + 5])];
		const heard = this.#site.showsTrail ? [] : (this.#site.heard?.satellites ?? []);
		const points = heard.map((one) => at(place(one.azimuth_deg, one.elevation_deg, up), pointShape(one.kind)));
		this.#upright.replaceChildren(...vehicle(this.#nose_deg, up), ...letters, ...clocks, ...points, ...this.#satellites(at, taken));
	}

	#satellites(at, taken) {
		const seen = this.#site.satellites.filter((one) => one.azimuth_deg !== null && one.elevation_deg >= 0);
		const marks = seen.map((one) => {
			const [x, y] = place(one.azimuth_deg, one.elevation_deg, this.#up_deg);
			return { x, y, lines: [one.name, one.short].filter(Boolean) };
		});
		const sides = sidesFor(marks, taken);
		return [...seen.map((one, n) => at([marks[n].x, marks[n].y], markShape(one.kind))),
			...marks.map((mark, n) => at([mark.x, mark.y], ...words(mark.lines, sides[n])))];
	}
}

function words(lines, [right, down]) {
	const anchor = right > 0 ? "start" : right < 0 ? "end" : "middle";
	const top = down * (AWAY + (LINE * lines.length) / 2) - (LINE * (lines.length - 1)) / 2;
	return lines.map((text, n) => shape("text", { x: right * AWAY, y: top + n * LINE, dy: "0.35em", "text-anchor": anchor,
		class: n ? "sky-words" : "sky-words name" }, text));
}

function maskShapes(mask) {
	if (!mask) return [];
	const areas = sectors(mask).flatMap(({ measured, sectors: some }) => {
		const how = measured ? "measured" : "inferred";
		const path = (open, looks) => shape("path", { d: some.map((one) => cell(one, open)).join(""), ...looks });
		return some.length ? [path(true, { class: `sky-free ${how}` }), path(false, blocked(measured))] : [];
	});
	return [...areas, ...["low_deg", "high_deg"].map((end) => shape("path", { d: ring(mask.azimuth_deg, mask[end]), class: "sky-band" })),
		shape("path", { d: ring(mask.azimuth_deg, mask.edge_deg), class: "sky-edge" })];
}

function spokes() {
	return [0, 45, 90, 135].map((at) => shape("path", { d: line([polar(at, RIM), polar(at + 180, RIM)]), class: "sky-grid" }));
}

function ways(all) {
	return all.flatMap((way) => way.parts).flatMap((part) => {
		const points = part.map(([azimuth, elevation]) => place(azimuth, elevation));
		const hours = points.filter((_, n) => part[n][2]).map(([cx, cy]) => shape("circle", { cx, cy, r: 1.6, class: "sky-hour-dot" }));
		return [shape("path", { d: line(points), class: "sky-way" }), ...hours];
	});
}

/** Where a way says the time: every six hours, each once, with the satellite's name first. */
function hourMarks({ name, parts }) {
	const seen = new Map(parts.flat().filter(([, , hour]) => /^(00|06|12|18):00$/.test(hour)).reverse().map((point) => [point[2], point]));
	return [...seen.values()].reverse().map(([azimuth, elevation, hour], n) => [azimuth, elevation, n ? hour : `${name} ${hour}`]);
}

function trailShapes(trail) {
	return trail.map((one) => {
		const [x, y] = place(one.azimuth_deg, one.elevation_deg);
		return shape("g", { transform: `translate(${x.toFixed(2)} ${y.toFixed(2)})` }, trailShape(one.kind));
	});
}

/** The rings at 0, 30 and 60 degrees with their words, and the one below which the service is not offered. */
function rings(least_deg) {
	const circle = (elevation, name) => shape("circle", { r: RIM * (1 - elevation / 90), class: name });
	const degrees = (elevation) => {
		const [x, y] = polar(22.5, RIM * (1 - elevation / 90));
		return shape("text", { x, y, dy: "0.35em", class: "sky-degrees" }, `${elevation}°`);
	};
	return [...[0, 30, 60].map((one) => circle(one, one ? "sky-grid" : "sky-rim")), least_deg > 0 ? circle(least_deg, "sky-least") : null,
		...[0, 30, 60].map(degrees)].filter(Boolean);
}

/** The vehicle from above, in the middle; nothing where its heading is not known. */
function vehicle(nose_deg, up_deg) {
	if (nose_deg === null) return [];
	return [shape("g", { transform: `rotate(${nose_deg - up_deg})`, class: "sky-vehicle" },
		shape("path", { d: "M-7 13V-7Q-7 -14 0 -14Q7 -14 7 -7V13Z" }), shape("path", { d: "M-5 -4Q0 -8 5 -4" }))];
}
