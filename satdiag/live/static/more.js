// The view 'More': the gates to the views that a narrow screen's bar has no room for, and the language.

import { by, el } from "./dom.js";
import { language } from "./words.js";

const KEPT_S = 365 * 24 * 3600;

/** The view 'More'. */
export function moreView() {
	for (const key of by("bar").querySelectorAll(".far")) {
		const gate = el("button", { "data-view": key.dataset.view, click: () => key.click() });
		gate.append(...[...key.childNodes].map((part) => part.cloneNode(true)));
		by("gates").append(gate);
	}
	for (const key of by("languages").children) {
		key.ariaPressed = String(key.dataset.language === language);
		key.addEventListener("click", () => speak(key.dataset.language));
	}
	return { id: "more", update() {} };
}

/** Load the page in another language: what was tapped is kept in the queue. */
function speak(chosen) {
	document.cookie = `satdiag_lang=${chosen}; path=/; max-age=${KEPT_S}; samesite=strict`;
	location.reload();
}
