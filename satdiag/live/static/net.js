// Asking the laptop: JSON both ways, each request with a time limit, nothing to any other place.

import { t } from "./words.js";

/** The laptop answered, but not with what was asked for. `status`: HTTP status; `body`: its JSON, or null. */
export class Answered extends Error {
	constructor(status, body, retry_s) {
		super(t("the laptop answered {status}", { status }));
		this.status = status;
		this.body = body;
		this.retry_s = retry_s;
	}
}

let job = null; // the job that the laptop was heard to record

/** The job that is meant by what is sent from now on: the laptop takes nothing for it once it records another. */
export function mean(id) {
	job = id;
}

/** The JSON that a path answers. With `body` it is a POST. Throws Answered, or TypeError/AbortError without an answer. */
export async function ask(path, body, limit_ms = 6000) {
	const stop = new AbortController();
	const timer = setTimeout(() => stop.abort(), limit_ms);
	try {
		const options = { cache: "no-store", credentials: "same-origin", redirect: "error", signal: stop.signal };
		if (body !== undefined) {
			options.method = "POST";
			options.headers = { "Content-Type": "application/json", "X-Satdiag": "1" };
			if (job) options.headers["X-Satdiag-Job"] = encodeURIComponent(job);
			options.body = JSON.stringify(body);
		}
		const answer = await fetch(path, options);
		if (!answer.ok) {
			const retry_s = Number(answer.headers.get("Retry-After")) || 0;
			throw new Answered(answer.status, await answer.json().catch(() => null), retry_s);
		}
		return await answer.json();
	} finally {
		clearTimeout(timer);
	}
}

/** A version 4 UUID. On a LAN address there is no secure context, hence no randomUUID. */
export function uuid4() {
	const bytes = crypto.getRandomValues(new Uint8Array(16));
	bytes[6] = (bytes[6] & 0x0f) | 0x40;
	bytes[8] = (bytes[8] & 0x3f) | 0x80;
	const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
	return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
