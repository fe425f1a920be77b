// The job sheet and the line-up. The questions stand in the page; data-key is the sheet's key.

import { by, count, el, fill, put } from "./dom.js";
import { Answered, ask } from "./net.js";
import { locate, mayLocate } from "./speed.js";

/** The view 'Start'. */
export function startView(app) {
	const inputs = [...document.querySelectorAll("[data-key]")];
	const touched = new Set();
	const keyOf = (input) => input.dataset.key;
	for (const input of inputs) input.addEventListener("input", () => touched.add(input));
	by("sheet").addEventListener("submit", (event) => (event.preventDefault(), send()));
	by("here").addEventListener("click", position);
	by("here").hidden = !mayLocate();
	if (!mayLocate()) put(by("where"), "Over this address the browser gives no position: type it, or leave it out.");

	async function position() {
		put(by("where"), "Looking for the position.");
		try {
			const { coords } = await locate();
			type("latitude_deg", coords.latitude.toFixed(6));
			type("longitude_deg", coords.longitude.toFixed(6));
			type("height_m", coords.altitude?.toFixed(0) ?? "");
			type("timezone", Intl.DateTimeFormat().resolvedOptions().timeZone ?? "");
			if (!by("sheet-site-name").value) type("name", "here");
			put(by("where"), `Found to ${Math.round(coords.accuracy)} m. Save the sheet to keep it.`);
			app.speed.watch();
		} catch (error) {
			put(by("where"), error.code === 1 ? "The browser did not grant it." : "No position was found.");
		}
	}

	function type(key, text) {
		by(`sheet-site-${key}`).value = text;
		touched.add(by(`sheet-site-${key}`));
	}

	async function send() {
		const changes = {};
		for (const input of touched) if (!keyOf(input).startsWith("site.")) changes[keyOf(input)] = valueOf(input);
		const site = inputs.filter((input) => keyOf(input).startsWith("site."));
		if (site.some((input) => touched.has(input))) {
			const given = site.map((input) => [keyOf(input).slice(5), valueOf(input)]);
			changes.site = Object.fromEntries(given.filter(([, value]) => value !== null));
		}
		for (const input of inputs) blame(input, "");
		if (!Object.keys(changes).length) return put(by("sheet-said"), "Nothing was changed.");
		if (!app.mayEnter()) return;
		by("save-sheet").disabled = true;
		const answer = await attempt("/sheet", { changes }, by("sheet-said"), (problem) => {
			const input = inputs.find((one) => keyOf(one) === problem.key || keyOf(one).endsWith(`.${problem.key}`));
			if (input) blame(input, `${problem.what}. ${problem.mend ?? ""}`);
			input?.focus();
		});
		by("save-sheet").disabled = false;
		if (!answer) return;
		touched.clear();
		put(by("sheet-said"), "The sheet is saved.");
		app.feed.refresh();
	}

	function update() {
		const place = app.sheet("site");
		const site = (Array.isArray(place) ? place[0] : place) ?? {};
		for (const input of inputs) {
			const key = keyOf(input);
			if (!touched.has(input)) show(input, key.startsWith("site.") ? site[key.slice(5)] : app.sheet(key));
		}
	}

	lineup(app);
	return { id: "start", update };
}

/** What the laptop answers, or null; then it is said why. `blame` is called with each problem. */
async function attempt(path, body, said, blame = () => {}) {
	try {
		return await ask(path, body, 10_000);
	} catch (error) {
		const problems = error.body?.problems ?? [];
		problems.forEach(blame);
		put(said, problems.length ? `Not saved. ${problems.map(({ what, mend }) => `${what}. ${mend ?? ""}`).join(" ")}`
			: error instanceof Answered ? `Not taken: ${error.body?.error ?? error.message}`
				: "No connection to the laptop. What you typed is still here.");
		return null;
	}
}

function valueOf(input) {
	const text = input.value.trim();
	if (text === "") return null;
	if (input.dataset.key === "receiver.second_hand") return text === "yes";
	const number = Number(text.replace(",", "."));
	return "number" in input.dataset && Number.isFinite(number) ? number : text;
}

function show(input, value) {
	if (input.dataset.key === "receiver.id") { // it comes masked: shown, but never sent back
		input.placeholder = value ?? "";
		return;
	}
	const text = value === true ? "yes" : value === false ? "no" : String(value ?? "");
	if (input.value !== text && document.activeElement !== input) input.value = text;
}

function blame(input, words) {
	const wrong = by(`${input.id}-wrong`);
	wrong.hidden = !words;
	put(wrong, words);
	input.ariaInvalid = String(Boolean(words));
	input.setAttribute("aria-describedby", words ? wrong.id : "");
}

/** Pasting a channel list: it is read by the laptop, shown, and saved only then. */
function lineup(app) {
	const said = by("list-said");
	by("read-list").addEventListener("click", async () => {
		const read = await attempt("/lineup/read", { text: by("list").value }, said);
		if (read) offer(read);
	});

	function offer({ channels, left_out = [], how = "" }) {
		put(said, how);
		const categories = [...new Set(channels.map((one) => one.category).filter(Boolean))];
		const boxes = categories.map((value) => el("input", { type: "checkbox", value }));
		const items = (texts) => el("ul.plainlist.scroll", { tabindex: 0 }, texts.map((text) => el("li", text)));
		fill(by("list-read"),
			items(channels.map(({ number, name, category }) => `${number}  ${name}${category ? `  (${category})` : ""}`)),
			left_out.length ? el("h3", "Left out") : null,
			items(left_out.map(({ line, text, why }) => `Line ${line}: ${text} – ${why}`)),
			categories.length ? el("fieldset", el("legend", "Not part of the package"),
				boxes.map((box) => el("label.choice", box, box.value))) : null,
			el("button.go", `Save ${count(channels.length, "channel")}`, { disabled: !channels.length, click: () =>
				save(channels, boxes.filter((box) => box.checked).map((box) => box.value)) }));
	}

	async function save(channels, outside) {
		const answer = app.mayEnter() && (await attempt("/lineup", { channels, outside }, said));
		if (!answer) return;
		fill(by("list-read"));
		by("list").value = "";
		put(said, `${count(answer.count, "channel")} saved.`);
		app.feed.refresh();
	}
}
