// Nobody types while driving: entry is locked above walking speed, where the browser tells a position at all.

const WALKING_M_S = 2;
const FRESH_MS = 30_000;

/** True if this browser may tell a position: only in a secure context, which a LAN address is not. */
export function mayLocate() {
	return window.isSecureContext && "geolocation" in navigator;
}

/** The position, as the browser tells it. Rejects with the browser's error if it does not. */
export function locate() {
	const options = { enableHighAccuracy: true, timeout: 20_000, maximumAge: 10_000 };
	return new Promise((resolve, reject) => navigator.geolocation.getCurrentPosition(resolve, reject, options));
}

/** Fires 'change' when entry becomes locked or free. */
export class Speed extends EventTarget {
	locked = false;
	watching = false;
	#passenger = false;
	#speed = null;
	#at = -Infinity;

	/** Watch the speed if that was granted before; a page that opens asks for nothing. */
	async begin() {
		if (!mayLocate() || !navigator.permissions) return;
		const answer = await navigator.permissions.query({ name: "geolocation" }).catch(() => null);
		if (answer?.state === "granted") this.watch();
	}

	/** Watch the speed; the browser may ask the person. */
	watch() {
		if (this.watching || !mayLocate()) return;
		this.watching = true;
		navigator.geolocation.watchPosition(
			({ coords }) => {
				this.#speed = coords.speed;
				this.#at = performance.now();
				this.look();
			},
			() => {},
			{ enableHighAccuracy: true, maximumAge: 5000 },
		);
	}

	/** The person says that someone else drives. */
	passenger() {
		this.#passenger = true;
		this.look();
	}

	/** Decide anew; to be called about once a second. */
	look() {
		const fresh = performance.now() - this.#at < FRESH_MS;
		const locked = !this.#passenger && fresh && this.#speed !== null && this.#speed > WALKING_M_S;
		if (locked === this.locked) return;
		this.locked = locked;
		this.dispatchEvent(new Event("change"));
	}
}
