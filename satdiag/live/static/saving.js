// Something that the laptop is to write now, while the person waits for its answer: the sheet, a channel list.

import { put } from "./dom.js";
import { Answered, ask } from "./net.js";
import { t } from "./words.js";

/** What the laptop answers, or null; then it is said why. `blame` is called with each problem. */
export async function attempt(path, body, said, blame = () => {}) {
	try {
		return await ask(path, body, 10_000);
	} catch (error) {
		const problems = error.body?.problems ?? [];
		put(said, problems.length ? t("Not saved. {why}", { why: problems.map(({ what, mend }) => `${sentence(what)} ${mend ?? ""}`).join(" ") })
			: error instanceof Answered ? t("Not taken: {why}", { why: error.body?.error ?? error.message })
				: t("No connection to the laptop. What you typed is still here."));
		problems.forEach(blame);
		return null;
	}
}

/** Words as a sentence. */
export function sentence(what) {
	return `${what.charAt(0).toUpperCase()}${what.slice(1)}.`;
}
