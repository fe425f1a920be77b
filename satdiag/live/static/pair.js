// Pairing: the code from the laptop's link or from its screen gives this device leave to write or to watch.

import { by, put } from "./dom.js";
import { Answered, ask } from "./net.js";
import { t } from "./words.js";

/** Pair with the code in the address, if there is one. It is taken out at once, so that it stays in no history. */
export async function pairByAddress() {
	const code = new URLSearchParams(location.hash.slice(1)).get("c");
	if (!code) return;
	history.replaceState(null, "", location.pathname);
	await ask("/pair", { code }).catch((error) => put(by("pair-said"), error.status === 403
		? t("That link is old: type the code.") : why(error)));
}

/** Why a code was not taken. */
function why(error) {
	if (!(error instanceof Answered)) return t("No connection to the laptop.");
	if (error.status === 403) return t("That code is not right. Look at the laptop's screen.");
	if (error.status === 429) return t("Too many tries: wait a little, then try again.");
	if (error.status === 503) return t("The laptop has too many connections just now: try again in a moment.");
	return t("The laptop did not take it: {why}", { why: error.body?.error ?? error.message });
}

/** Make the form for a code that is typed or pasted work. `paired` is called when it was right. */
export function pairForm(paired) {
	by("pairing").addEventListener("submit", async (event) => {
		event.preventDefault();
		try {
			await ask("/pair", { code: by("pair-code").value.replace(/\s/g, "") });
			by("pair-code").value = "";
			put(by("pair-said"), "");
			by("pairing").hidden = true;
			paired();
		} catch (error) {
			put(by("pair-said"), why(error));
		}
	});
}
