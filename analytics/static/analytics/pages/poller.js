/* Asks again and again for what may have changed: quickly while it is answered, ever more seldom
   while it is not, and not at all while nobody looks. */

const EVERY_S = 10;
const SELDOM_S = 60;
const PATIENCE_MS = 20_000;

export class Poller {
  trouble = null;
  #refresh;
  #onChange;
  #etag = null;
  #heard = null;
  #waitS = EVERY_S;
  #timer = null;
  #running = false;
  #again = false;
  #stopped = false;

  /* `refresh(request)` asks with `request(address)` and returns whether to go on asking. */
  constructor(refresh, { onChange }) {
    this.#refresh = refresh;
    this.#onChange = onChange;
  }

  start() {
    document.addEventListener("visibilitychange", () => {
      if (document.hidden) clearTimeout(this.#timer);
      else this.now();
    });
    this.now();
  }

  /* Ask at once. */
  async now() {
    if (this.#stopped) return;
    if (this.#running) {
      this.#again = true;
      return;
    }
    clearTimeout(this.#timer);
    this.#running = true;
    try {
      this.#stopped = !(await this.#refresh((address) => this.#request(address)));
      // Only now: an answer that was cut off is asked for again, whole.
      this.#etag = this.#heard;
      this.trouble = null;
      this.#waitS = EVERY_S;
    } catch {
      this.trouble = "no line";
      this.#waitS = Math.min(2 * this.#waitS, SELDOM_S);
    }
    this.#running = false;
    this.#onChange();
    if (this.#again) {
      this.#again = false;
      this.now();
    } else {
      this.#plan();
    }
  }

  #plan() {
    clearTimeout(this.#timer);
    if (this.#stopped || document.hidden) return;
    this.#timer = setTimeout(() => this.now(), 1000 * this.#waitS);
  }

  async #request(address) {
    const answer = await fetch(address, {
      headers: this.#etag ? { "If-None-Match": this.#etag } : {},
      redirect: "manual",
      cache: "no-store",
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
    this.#heard = answer.status === 200 ? answer.headers.get("ETag") : this.#etag;
    return answer;
  }
}
