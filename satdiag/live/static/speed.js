// Nobody types while driving: entry is locked above walking speed, where this browser or a GNSS receiver on the laptop
// tells how fast the vehicle moves.

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
	#heard = {}; // who told it -> {m_s, at: performance.now() of the measurement}

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
			({ coords }) => this.#hear("browser", coords.speed, performance.now()),
			() => {},
			{ enableHighAccuracy: true, maximumAge: 5000 },
		);
	}

	/** What the laptop's own receiver says, as it stands in a state that was heard at `heard`. */
	tell({ speed_m_s, speed_age_s }, heard) {
		this.#hear("laptop", speed_m_s, heard - (speed_age_s ?? 0) * 1000);
	}

	#hear(who, m_s, at) {
		this.#heard[who] = { m_s, at };
		this.look();
	}

	/** The person says that someone else drives: entry is free until this page is closed. */
	passenger() {
		this.#passenger = true;
		this.look();
	}

	/** Decide anew; to be called about once a second. One that tells of movement is enough. */
	look() {
		const moves = ({ m_s, at }) => Number.isFinite(m_s) && m_s > WALKING_M_S && performance.now() - at < FRESH_MS;
		const locked = !this.#passenger && Object.values(this.#heard).some(moves);
		if (locked === this.locked) return;
		this.locked = locked;
		this.dispatchEvent(new Event("change"));
	}
}
