// A number pad for gloves: large keys, a value and one button that enters it.

import { dialog, el, put } from "./dom.js";
import { target } from "./press.js";
import { language, t } from "./words.js";

const NAMES = { "⌫": t("delete the last digit"), "−": t("change the sign"), ".": t("point") };
const SHORT = { deg: "°", percent: "%" };
const SIGN = language === "en" ? "." : ","; // the decimal sign, as it is shown

/** Ask for a number. `enter(text, stamp)` gets the number, or 'unreadable'. */
export function askNumber(app, title, unit, signed, enter) {
	let typed = "";
	const shown = el("output.typed", { "aria-live": "off" });
	const done = (value) => (stamp) => (box.close(), enter(value(), stamp));
	const go = target(app, "go", t("Enter"), done(() => tidy(typed)));
	const type = (key) => {
		if (key === "⌫") typed = typed.slice(0, -1);
		else if (key === "−") typed = typed.startsWith("-") ? typed.slice(1) : `-${typed}`;
		else if (key !== "." || !typed.includes(".")) typed = (typed + key).slice(0, 9);
		put(shown, `${typed.replace(".", SIGN) || "–"} ${SHORT[unit] ?? unit}`);
		go.disabled = !/\d/.test(typed);
	};
	const keys = [..."123456789.0⌫", ...(signed ? "−" : "")].map((key) =>
		el("button.key", key === "." ? SIGN : key, { "aria-label": NAMES[key], click: () => type(key) }));
	const box = dialog(title, shown, el("div.pad", keys), go,
		target(app, "wide", t("No reading: unreadable"), done(() => "unreadable")));
	box.addEventListener("keydown", ({ key }) => {
		const same = { ",": ".", Backspace: "⌫", "-": signed ? "−" : "" }[key] ?? key;
		if (/^[0-9.⌫−]$/.test(same)) type(same);
	});
	type("");
}

/** '.5', '7.' and '007' as the log wants them: '0.5', '7' and '7'. */
function tidy(text) {
	return text.replace(/^(-?)\./, "$10.").replace(/\.$/, "").replace(/^(-?)0+(?=\d)/, "$1");
}
