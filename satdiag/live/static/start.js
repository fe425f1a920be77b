// The job sheet. The questions stand in the page; data-key is the sheet's key. Who may only watch sees the answers.

import { by, el, fill, put } from "./dom.js";
import { lineupCard } from "./lineup.js";
import { attempt, sentence } from "./saving.js";
import { locate, mayLocate } from "./speed.js";
import { t } from "./words.js";

/** The view 'Start'. */
export function startView(app) {
	const inputs = [...by("sheet").querySelectorAll("[data-key]")];
	const scale = by("sheet-receiver-level_scale");
	const touched = new Set();
	const keyOf = (input) => input.dataset.key;
	const isSite = (input) => keyOf(input).startsWith("site.");
	const card = lineupCard(app, attempt);
	let told = "";
	for (const input of inputs) input.addEventListener("input", () => touched.add(input));
	for (const input of inputs.filter((one) => "word" in one.dataset)) {
		input.addEventListener("change", () => (input.value = asWord(input.value)));
	}
	by("sheet-scale").addEventListener("change", () => {
		const usual = by("sheet-scale").value;
		type(scale, usual === "other" ? "" : usual);
		by("sheet-scale-other").hidden = usual !== "other";
		if (usual === "other") scale.focus();
	});
	by("sheet").addEventListener("submit", (event) => (event.preventDefault(), send()));
	by("here").addEventListener("click", position);
	by("here").hidden = !mayLocate();
	if (!mayLocate()) put(by("where"), t("Over this address the browser gives no position: type it, or leave it out."));

	async function position() {
		put(by("where"), t("Looking for the position."));
		try {
			const { coords } = await locate();
			type(by("sheet-site-latitude_deg"), coords.latitude.toFixed(6));
			type(by("sheet-site-longitude_deg"), coords.longitude.toFixed(6));
			type(by("sheet-site-height_m"), coords.altitude?.toFixed(0) ?? "");
			type(by("sheet-site-timezone"), Intl.DateTimeFormat().resolvedOptions().timeZone ?? "");
			if (!by("sheet-site-name").value) type(by("sheet-site-name"), t("here"));
			put(by("where"), t("Found to {distance} m. Save the sheet to keep it.", { distance: Math.round(coords.accuracy) }));
			app.speed.watch();
		} catch (error) {
			put(by("where"), error.code === 1 ? t("The browser did not grant it.") : t("No position was found."));
		}
	}

	function type(input, text) {
		input.value = text;
		touched.add(input);
	}

	/** What is to be sent: everything that was touched; of a place all that is known, as it may be a new one. */
	function changes() {
		const made = {};
		const sent = (input) => touched.has(input) && !(keyOf(input) === "receiver.id" && valueOf(input) === null);
		for (const input of inputs) if (!isSite(input) && sent(input)) made[keyOf(input)] = valueOf(input);
		const site = inputs.filter(isSite);
		if (site.some((input) => touched.has(input))) {
			const given = site.filter((input) => touched.has(input) || valueOf(input) !== null);
			made.site = Object.fromEntries(given.map((input) => [keyOf(input).slice(5), valueOf(input)]));
		}
		return made;
	}

	async function send() {
		const made = changes();
		for (const input of inputs) blame(input, "");
		if (!Object.keys(made).length) return put(by("sheet-said"), t("Nothing was changed."));
		if (!app.mayEnter()) return;
		by("save-sheet").disabled = true;
		const sent = [...touched].map((input) => [input, input.value]);
		let first = null;
		const answer = await attempt("/sheet", { changes: made }, by("sheet-said"), ({ key, what, mend }) => {
			const name = key === "site" ? "site.name" : key;
			const input = inputs.find((one) => keyOf(one) === name || keyOf(one).endsWith(`.${name}`));
			if (!input) return;
			blame(input, `${sentence(what)} ${mend ?? ""}`);
			first ??= input;
		});
		by("save-sheet").disabled = false;
		first?.focus();
		if (!answer) return;
		put(by("sheet-said"), t("The sheet is saved."));
		await app.feed.refresh(); // a state from before shall not show the old values again
		for (const [input, text] of sent) if (input.value === text) touched.delete(input);
		update();
	}

	function valueIn(input) {
		const place = app.sheet("site");
		const site = (Array.isArray(place) ? place[0] : place) ?? {};
		return isSite(input) ? site[keyOf(input).slice(5)] : app.sheet(keyOf(input));
	}

	function update() {
		const watches = app.state?.role === "watch";
		for (const id of ["sheet", "start-lead"]) by(id).hidden = watches;
		by("sheet-told").hidden = !watches;
		if (watches) tell();
		for (const input of inputs) if (!touched.has(input)) show(input, valueIn(input));
		if (!touched.has(scale) && document.activeElement !== scale) {
			const is_usual = [...by("sheet-scale").options].some((one) => one.value === scale.value && one.value !== "other");
			by("sheet-scale").value = is_usual ? scale.value : "other";
			by("sheet-scale-other").hidden = is_usual;
		}
		card.update();
	}

	/** The sheet as a list, for those who may not change it. */
	function tell() {
		const known = inputs.map((input) => [input, valueIn(input)]).filter(([, value]) => ![null, undefined, "", "unknown"].includes(value));
		const words = known.map(([input, value]) => [input.closest(".field:not(#sheet-scale-other)").querySelector("label").textContent,
			optionText(input === scale ? by("sheet-scale") : input, textOf(value, input))]);
		if (JSON.stringify(words) === told) return;
		told = JSON.stringify(words);
		fill(by("sheet-values"), ...words.map(([label, text]) => el("li", el("span", label), el("strong", el("bdi", text)))));
		if (!words.length) fill(by("sheet-values"), el("li", t("Nothing is filled in yet.")));
	}

	return { id: "start", update };
}

/** One word in small letters, as packages are named. */
function asWord(text) {
	return text.trim().toLowerCase().replace(/\s+/g, "-");
}

function valueOf(input) {
	const text = "word" in input.dataset ? asWord(input.value) : input.value.trim();
	if (text === "" || (input.options && text === "unknown")) return null; // a key that is left out means 'unknown'
	if (input.dataset.key === "receiver.second_hand") return text === "yes";
	if ("list" in input.dataset || "range" in input.dataset) return numbersIn(text, "list" in input.dataset);
	const number = Number(text.replace(",", "."));
	return "number" in input.dataset && Number.isFinite(number) ? number : text;
}

const NUMBER = /(?<![\d.,])-?\d+(?:[.,]\d+)?/g;

/** The numbers of '25', '25 to 30', '25-30', '1,2; 3': one alone, or a list (always, if `many`). What holds none stays text. */
function numbersIn(text, many) {
	const found = (text.match(NUMBER) ?? []).map((part) => Number(part.replace(",", ".")));
	if (!found.length || /\d/.test(text.replace(NUMBER, ""))) return text;
	return many || found.length > 1 ? found : found[0];
}

/** As it is typed, too: a range as '25 to 30', a list as '1.2; 3'. */
function textOf(value, input) {
	if (Array.isArray(value)) return input && "range" in input.dataset ? t("{low} to {high}", { low: value[0], high: value[1] }) : value.join("; ");
	return value === true ? "yes" : value === false ? "no" : String(value ?? "");
}

function optionText(input, text) {
	return [...(input.options ?? [])].find((one) => one.value === text)?.text ?? text;
}

function show(input, value) {
	if (input.dataset.key === "receiver.id") { // it comes masked: shown, but never sent back
		input.placeholder = value ?? "";
		return;
	}
	const text = textOf(value, input);
	if (document.activeElement === input || input.value === text) return;
	input.value = text;
	if (input.selectedIndex === -1) input.selectedIndex = 0;
}

function blame(input, words) {
	const [wrong, hint] = [by(`${input.id}-wrong`), by(`${input.id}-hint`)];
	wrong.hidden = !words;
	put(wrong, words);
	input.ariaInvalid = String(Boolean(words));
	input.setAttribute("aria-describedby", [hint?.id, words && wrong.id].filter(Boolean).join(" "));
	const folded = input.closest("details");
	if (words && folded) folded.open = true;
	if (words && input.id === "sheet-receiver-level_scale") by("sheet-scale-other").hidden = false;
}
