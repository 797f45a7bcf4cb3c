/* Typed results: kept in the browser until the server has them, sent in order, stored once.

   Each result is one entry of the browser's storage, so that two tabs never overwrite each other's.
   Its key is made once, when it is typed; under it the server knows the result again for ever. */

const PREFIX = "penult.result.";
const FIRST_WAIT_S = 2;
const LONGEST_WAIT_S = 30;
const PATIENCE_MS = 20_000;
/* What has waited longer than that is sent only when its coach says so: by now somebody may have
   typed it in from the sheet. As long as a log-in lasts. */
export const OLD_AFTER_MS = 7 * 24 * 60 * 60 * 1000;

/* What is done about each way in which the browser's storage can be missing: results then live as
   long as the page, and the page says so. */
class MemoryStorage {
  #kept = new Map();
  get length() { return this.#kept.size; }
  key(place) { return [...this.#kept.keys()][place] ?? null; }
  getItem(name) { return this.#kept.get(name) ?? null; }
  setItem(name, value) { this.#kept.set(name, value); }
  removeItem(name) { this.#kept.delete(name); }
}

export function openStorage() {
  try {
    const storage = window.localStorage;
    storage.setItem("penult.probe", "1");
    storage.removeItem("penult.probe");
    return { storage, lasts: true };
  } catch {
    return { storage: new MemoryStorage(), lasts: false };
  }
}

export function newKey() {
  // Not randomUUID(): a browser has it on safe addresses only.
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/* The results of one member, in the order in which they were typed. */
export class Queue {
  #storage;
  #member;
  #now;

  constructor(storage, member, now) {
    this.#storage = storage;
    this.#member = member;
    this.#now = now;
  }

  all() {
    const found = [];
    for (const name of this.#names(`${PREFIX}${this.#member}.`)) {
      const result = read(this.#storage.getItem(name));
      if (result) found.push(result);
    }
    return found.sort((a, b) => a.typedAt - b.typedAt || (a.key < b.key ? -1 : 1));
  }

  /* How many wait of somebody else who used this browser. */
  countOfOthers() {
    const own = `${PREFIX}${this.#member}.`;
    return this.#names(PREFIX).filter((name) => !name.startsWith(own)).length;
  }

  next() {
    return this.all().find((each) => each.state === "waiting" && !this.isOld(each));
  }

  /* Whether a result waits for a word of its coach. It is never thrown away by itself. */
  isOld(result) {
    return result.state === "waiting" && !result.sure && this.#now() - result.typedAt > OLD_AFTER_MS;
  }

  find(key) {
    return read(this.#storage.getItem(this.#name(key)));
  }

  /* Throws where the storage is full: what is not kept must not look kept. */
  put(result) {
    this.#storage.setItem(this.#name(result.key), JSON.stringify(result));
  }

  change(key, fields) {
    const result = this.find(key);
    if (result) this.put({ ...result, ...fields });
  }

  remove(key) {
    this.#storage.removeItem(this.#name(key));
  }

  #name(key) {
    return `${PREFIX}${this.#member}.${key}`;
  }

  #names(prefix) {
    const names = [];
    for (let place = 0; place < this.#storage.length; place += 1) {
      const name = this.#storage.key(place);
      if (name.startsWith(prefix)) names.push(name);
    }
    return names;
  }
}

function read(text) {
  try {
    const result = JSON.parse(text);
    return result && result.key && result.body ? result : null;
  } catch {
    return null;
  }
}

function cookie(name) {
  const found = document.cookie.split("; ").find((each) => each.startsWith(`${name}=`));
  return found ? decodeURIComponent(found.slice(name.length + 1)) : "";
}

/* Sends one result after the other. `trouble` is null, "no line", "busy", "logged out",
   "other person" or "page"; after the last three nothing is tried until the page is opened anew. */
export class Sender {
  trouble = null;
  nextTryAt = null;
  #queue;
  #member;
  #onChange;
  #onStored;
  #running = false;
  #timer = null;
  #waitS = FIRST_WAIT_S;

  constructor(queue, member, { onChange, onStored }) {
    this.#queue = queue;
    this.#member = member;
    this.#onChange = onChange;
    this.#onStored = onStored;
  }

  /* Try now: something was typed, or the line is back. */
  async wake() {
    if (this.#running) return;
    clearTimeout(this.#timer);
    this.nextTryAt = null;
    this.#running = true;
    try {
      let result = this.#queue.next();
      while (result) {
        if (!(await this.#send(result))) break;
        result = this.#queue.next();
      }
    } finally {
      this.#running = false;
      this.#onChange();
    }
  }

  stop(trouble) {
    this.trouble = trouble;
    clearTimeout(this.#timer);
    this.nextTryAt = null;
    this.#onChange();
  }

  /* Send one; answer whether the next may follow. */
  async #send(result) {
    // From here on nobody knows whether the server has it, until an answer is heard.
    this.#queue.change(result.key, { tried: true });
    this.#onChange();
    let answer;
    let said;
    try {
      answer = await fetch(result.address, {
        method: "POST",
        body: result.body,
        headers: {
          "Content-Type": "application/json",
          "Idempotency-Key": result.key,
          "Penult-Member": this.#member,
          "X-CSRFToken": cookie("csrftoken"),
        },
        redirect: "manual",
        cache: "no-store",
        signal: AbortSignal.timeout(PATIENCE_MS),
      });
      said = await answer.json();
    } catch {
      // No line, or the answer was cut off; a proxy's page in place of JSON is no answer either.
      return this.#later("no line");
    }
    if (answer.status === 200 || answer.status === 201) {
      this.trouble = null;
      this.#waitS = FIRST_WAIT_S;
      this.#queue.remove(result.key);
      this.#onStored(result, said);
      return true;
    }
    if (answer.status === 401) return this.#halt("logged out");
    if (said.code === "other_person") return this.#halt("other person");
    if (said.code === "not_from_page") return this.#halt("page");
    if (answer.status >= 500 || answer.status === 429 || said.code === "in_flight") {
      return this.#later("busy", Number(answer.headers.get("Retry-After")));
    }
    const faults = (said.errors ?? []).map((fault) => fault.detail).filter(Boolean);
    this.trouble = null;
    this.#queue.change(result.key, {
      state: "refused",
      why: faults.length ? faults : [said.detail || said.title || `Answer ${answer.status}.`],
    });
    return true;
  }

  #halt(trouble) {
    this.stop(trouble);
    return false;
  }

  #later(trouble, atLeastS = 0) {
    this.trouble = trouble;
    const waitS = Math.max(this.#waitS, atLeastS || 0);
    this.#waitS = Math.min(2 * this.#waitS, LONGEST_WAIT_S);
    this.nextTryAt = Date.now() + 1000 * waitS;
    this.#timer = setTimeout(() => this.wake(), 1000 * waitS);
    return false;
  }
}
