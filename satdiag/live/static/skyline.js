// The card of the view 'Sky' on which one enters what stands around: a bearing and how high it reaches.

import { el, put } from "./dom.js";
import { attempt, sentence } from "./saving.js";
import { arrange } from "./touched.js";
import { windOf } from "./turning.js";
import { figure, t, tn } from "./words.js";

const SHORT = 6;

const exact = (angle_deg) => figure(angle_deg, Number.isInteger(angle_deg) ? 0 : 1);

/** The card. `root`; `show(readings, analysis)`: pairs of azimuth and elevation, degrees, as an analysis has them, unless it is
 * older than what was changed here; `may(enter)`: whether one may enter. */
export function skylineCard(app) {
	const said = el("p.small", { role: "status" });
	const list = el("ul.plainlist.readings");
	const lines = new Map(); // azimuth and elevation -> the line of it
	const count = el("summary");
	const entered = el("details", { open: true }, count, list);
	const [bearing, height] = [field("skyline-azimuth", t("Bearing in degrees"), t("From true north, clockwise: east is 90. A compass shows magnetic north; take the place's deviation into account.")),
		field("skyline-elevation", t("Height of its edge in degrees"), t("From the antenna to its upper edge: 0 is level, 90 straight up. A fist at arm's length is about 10."))];
	const add = el("button.wide", t("Add this edge"));
	const form = el("form", { novalidate: true, submit: (event) => (event.preventDefault(), send()) }, bearing.root, height.root, add);
	add.type = "submit";
	const root = el("section.card", el("h2", t("What stands around")), el("p.small", t("Houses, trees, a hill: where a navigation receiver has not measured the skyline, some edges entered by hand tell which satellites they hide. They hold for the first place of the visit.")),
		entered, form, said);
	let [seen, changed] = [null, null]; // what is shown; the recording and the analysis that knows what was changed here
	let last = Promise.resolve(); // the change before: one after the other, so that their answers come in that order

	async function send() {
		const values = [bearing, height].map(({ input }) => (input.value.trim() === "" ? null : Number(input.value.trim().replace(",", "."))));
		for (const one of [bearing, height]) one.blame("");
		if (!app.mayEnter()) return;
		const body = { azimuth_deg: numberOr(values[0]), elevation_deg: numberOr(values[1]) };
		const told = await change(body, ({ key, what, mend }) => (key === "azimuth_deg" ? bearing : height).blame(what, mend));
		if (!told) return;
		put(said, t("Saved. The picture follows with the next analysis."));
		bearing.input.value = height.input.value = "";
		bearing.input.focus();
	}

	async function change(body, blame) {
		add.disabled = true;
		const told = await (last = last.then(() => attempt("/skyline", body, said, blame)));
		add.disabled = false;
		if (told) {
			changed = { run: app.state?.run, analysis: told.analysis };
			draw(told.readings);
		}
		return told;
	}

	async function take(azimuth_deg) {
		if (app.mayEnter() && await change({ azimuth_deg, out: true })) put(said, t("Taken out. The picture follows with the next analysis."));
	}

	function show(readings, analysis) {
		const older = changed && changed.run === app.state?.run && analysis < changed.analysis;
		if (!older) draw(readings);
	}

	function draw(readings) {
		if (seen === null) entered.open = readings.length <= SHORT; // a long list is unfolded by whoever wants it
		seen = readings;
		const before = new Map(lines);
		lines.clear();
		for (const one of readings) lines.set(String(one), before.get(String(one)) ?? line(one));
		arrange(list, [...lines.values()]);
		entered.hidden = !readings.length;
		put(count, tn("one edge is entered", "{n} edges are entered", readings.length));
	}

	function line([azimuth, elevation]) {
		const words = t("{azimuth}° ({wind}): {elevation}° high", { azimuth: exact(azimuth), wind: windOf(azimuth), elevation: exact(elevation) });
		return el("li", el("span", words), el("button.plain", t("Take out"), { "aria-label": t("Take out: {words}", { words }), click: () => take(azimuth) }));
	}

	function may(enter) {
		form.hidden = !enter;
		list.classList.toggle("fixed", !enter);
		root.hidden = !enter && !seen?.length;
	}

	return { root, show, may };
}

/** What is no number is sent as it is: the laptop says what is wrong with it. */
function numberOr(value) {
	return Number.isFinite(value) ? value : null;
}

function field(id, label, hint) {
	const input = el("input", { id, inputmode: "decimal", autocomplete: "off", maxlength: 12, "aria-describedby": `${id}-hint` });
	const wrong = el("p.wrong", { id: `${id}-wrong`, hidden: true });
	const root = el("div.field", el("label", label, { for: id }), input, el("p.small", hint, { id: `${id}-hint` }), wrong);
	const blame = (what, mend = "") => {
		put(wrong, what ? `${sentence(what)} ${mend}` : "");
		wrong.hidden = !what;
		input.ariaInvalid = String(Boolean(what));
		input.setAttribute("aria-describedby", what ? `${id}-hint ${id}-wrong` : `${id}-hint`);
	};
	return { root, input, blame };
}
