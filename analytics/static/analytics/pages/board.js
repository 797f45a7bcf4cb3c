/* The board of a session: keeps the advice fresh, takes in results, says what became of each. */

import { fieldsOf, fill, inWords, measuredIn, show } from "./form.js";
import { Poller } from "./poller.js";
import { Queue, Sender, newKey, openStorage } from "./results.js";

const { member, session, attempts: address, logIn } = document.body.dataset;
const board = document.getElementById("board");
const line = document.getElementById("line");
const { storage, lasts } = openStorage();
// What was stored while this page is open, until the page itself shows it.
const sent = [];
// A phone's clock may be minutes off; the server's decides then.
const CLOCK_OFF_MS = 60_000;
let clockOffMs = 0;
const queue = new Queue(storage, member, () => Date.now() + clockOffMs);
const strays = document.getElementById("strays");

const sender = new Sender(queue, member, {
  onChange: render,
  onStored: (result, said) => {
    sent.push({ ...result, externalId: said.external_id });
    poller.now();
  },
});
const poller = new Poller(refresh, { onChange: render });

/* ---- The page as the server has it now. ---- */

async function refresh(request) {
  const answer = await request(location.pathname + location.search);
  const now = Date.parse(answer.headers.get("Date") ?? "");
  if (now) {
    const wasOffMs = clockOffMs;
    clockOffMs = Math.abs(now - Date.now()) > CLOCK_OFF_MS ? now - Date.now() : 0;
    // By the phone's clock a result may have looked old.
    if (clockOffMs !== wasOffMs) sender.wake();
  }
  if (answer.status === 304) return true;
  if (answer.type === "opaqueredirect") {
    sender.stop("logged out");
    return false;
  }
  if (answer.status !== 200) throw new Error(`answer ${answer.status}`);
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (page.body.dataset.member !== member) {
    sender.stop("other person");
    return false;
  }
  // Before parts of it move into this page.
  const shown = new Set(
    [...page.querySelectorAll("[data-external-id]")].map((each) => each.dataset.externalId),
  );
  for (const fresh of page.querySelectorAll("#board > .entry")) update(fresh);
  for (const each of [...sent]) {
    if (shown.has(each.externalId)) sent.splice(sent.indexOf(each), 1);
  }
  return true;
}

function update(fresh) {
  const entry = entryOf(fresh.dataset.approach);
  if (!entry) {
    board.append(document.adoptNode(fresh));
    prepare(fresh);
    return;
  }
  const [old, latest] = [entry, fresh].map((each) => each.querySelector("[data-part=advice]"));
  if (old.innerHTML !== latest.innerHTML) {
    const wasOpen = old.querySelector("details")?.open;
    old.replaceWith(document.adoptNode(latest));
    if (wasOpen) latest.querySelector("details").open = true;
  }
  const mark = entry.querySelector("form").elements.namedItem("mark");
  // Nobody typed over it: it follows the advice.
  if (mark.value === entry.dataset.mark) mark.value = fresh.dataset.mark;
  entry.dataset.mark = fresh.dataset.mark;
  entry.dataset.nJumps = fresh.dataset.nJumps;
}

function entryOf(approach) {
  return board.querySelector(`.entry[data-approach="${CSS.escape(approach)}"]`);
}

/* ---- What is typed. ---- */

/* Whether a result is surely not stored, and may become another one. */
function mayChange(result) {
  return Boolean(result) && !(result.tried && result.state === "waiting");
}

function draftName(entry) {
  return `penult.draft.${member}.${session}.${entry.dataset.approach}`;
}

function prepare(entry) {
  const form = entry.querySelector("form");
  try {
    const draft = JSON.parse(storage.getItem(draftName(entry)));
    if (draft?.changes && !mayChange(queue.find(draft.changes))) {
      // It was sent meanwhile: typed in once more it would be there twice.
      storage.removeItem(draftName(entry));
    } else if (draft) {
      fill(form, draft);
      if (draft.changes) form.dataset.changes = draft.changes;
      entry.querySelector(".enter").open = true;
    }
  } catch {
    storage.removeItem(draftName(entry));
  }
  show(form);
}

function keepDraft(form) {
  const entry = form.closest(".entry");
  try {
    const draft = { ...fieldsOf(form), changes: form.dataset.changes ?? "" };
    storage.setItem(draftName(entry), JSON.stringify(draft));
  } catch {
    // The storage is full. What is half typed is lost with the page; a whole result is not taken.
  }
}

board.addEventListener("input", (event) => {
  const form = event.target.closest("form");
  if (!form) return;
  show(form);
  keepDraft(form);
});

board.addEventListener("submit", (event) => {
  event.preventDefault();
  const form = event.target;
  const entry = form.closest(".entry");
  const { measured, wrong, field } = measuredIn(fieldsOf(form));
  tell(form, wrong);
  if (wrong) {
    const input = form.elements.namedItem(field);
    (input instanceof RadioNodeList ? input[0] : input).focus();
    return;
  }
  const before = form.dataset.changes ? queue.find(form.dataset.changes) : null;
  if (form.dataset.changes && !mayChange(before)) {
    delete form.dataset.changes;
    tell(form, "It was sent or thrown away meanwhile. Look at what is there before you keep this.");
    render();
    return;
  }
  const typedAt = before ? before.typedAt : inTurn();
  const result = {
    key: newKey(),
    state: "waiting",
    tried: false,
    typedAt,
    address,
    session,
    approach: entry.dataset.approach,
    fields: fieldsOf(form),
    words: inWords(measured),
    isJump: measured.finish === "jump",
    body: JSON.stringify({
      athlete: entry.dataset.athlete,
      approach: entry.dataset.approach,
      started_at: new Date(typedAt).toISOString(),
      ...measured,
    }),
  };
  try {
    queue.put(result);
  } catch {
    tell(form, "This browser has no room left to keep it. Nothing was kept or sent.");
    return;
  }
  if (before) queue.remove(before.key);
  clear(entry, form);
  render();
  sender.wake();
});

/* Now, and after whatever was typed before. */
function inTurn() {
  const last = queue.all().at(-1)?.typedAt ?? 0;
  return Math.max(Date.now() + clockOffMs, last + 1);
}

function tell(form, wrong) {
  const said = form.querySelector("[role=alert]");
  said.textContent = wrong ?? "";
  said.hidden = !wrong;
}

function clear(entry, form) {
  storage.removeItem(draftName(entry));
  delete form.dataset.changes;
  const { finish } = fieldsOf(form);
  form.reset();
  fill(form, { finish, mark: entry.dataset.mark });
  show(form);
  const details = entry.querySelector(".enter");
  details.open = false;
  details.querySelector("summary").focus();
}

for (const place of [board, strays]) place.addEventListener("click", decide);

function decide(event) {
  const button = event.target.closest("button[data-do]");
  if (!button) return;
  const entry = button.closest(".entry");
  const result = queue.find(button.dataset.key);
  // Another tab, or the line, may have been quicker.
  if (!mayChange(result) && !(result && queue.isOld(result))) {
    render();
    return;
  }
  if (button.dataset.do === "change") {
    const form = entry.querySelector("form");
    queue.change(result.key, { state: result.state === "refused" ? "refused" : "held" });
    form.reset();
    fill(form, result.fields);
    form.dataset.changes = result.key;
    keepDraft(form);
    tell(form, result.why?.join(" "));
    show(form);
    entry.querySelector(".enter").open = true;
    form.elements.namedItem("toe").focus();
  } else if (button.dataset.do === "send") {
    queue.change(result.key, { state: "waiting", sure: true });
    sender.wake();
  } else if (button.dataset.sure) {
    queue.remove(result.key);
  } else {
    button.dataset.sure = "yes";
    button.textContent = "Really throw away";
    return;
  }
  render();
}

/* ---- What became of it. ---- */

function render() {
  const results = queue.all();
  for (const entry of board.querySelectorAll(".entry")) renderEntry(entry, results);
  renderStrays(results);
  renderLine(results);
}

function renderEntry(entry, results) {
  const { approach } = entry.dataset;
  const own = results.filter((each) => each.approach === approach && each.session === session);
  const stored = sent.filter((each) => each.approach === approach && each.session === session);
  const items = [
    ...stored.map((each) => item(each, "sent", [])),
    ...own.map((each) => told(each)),
  ];
  fillList(entry.querySelector(".typed"), items);
  const waiting = own.filter((each) => each.state !== "refused").length;
  const behind = entry.querySelector(".behind");
  behind.hidden = waiting === 0;
  behind.textContent =
    waiting === 1
      ? "This advice does not know 1 result that waits here."
      : `This advice does not know ${waiting} results that wait here.`;
  const jumps = [...own, ...stored].filter((each) => each.isJump).length;
  entry.querySelector("[data-part=what]").textContent =
    `attempt ${Number(entry.dataset.nJumps) + jumps + 1}`;
}

/* What is typed in here and stands in no entry: of somebody who is not on this board, or of another
   session and waiting for a word. Else nobody could see it, or throw it away. */
function renderStrays(results) {
  const found = results.filter((each) => {
    if (each.session === session) return !entryOf(each.approach);
    return each.state !== "waiting" || queue.isOld(each);
  });
  strays.hidden = found.length === 0;
  const items = found.map((each) => told(each, (choice) => choice !== "change"));
  fillList(strays.querySelector(".kept"), items);
}

/* What is said of a result that is not stored, and what may be done with it. */
function told(result, isOffered = () => true) {
  const [state, choices, why] = stateOf(result);
  return item(result, state, choices.filter(isOffered), why);
}

function stateOf(result) {
  if (result.state === "refused") return ["refused", ["change", "throw away"], result.why.join(" ")];
  if (result.state === "held") return ["being changed", ["change", "send", "throw away"]];
  if (queue.isOld(result)) {
    const why = result.tried
      ? "It was sent, and no answer came. Sent again, it is stored once."
      : "Was it typed in elsewhere meanwhile? Sent now, it is stored with the time of then.";
    return ["waits for more than a week", ["send", "throw away"], why];
  }
  if (result.tried) return ["on its way, no answer yet", []];
  return ["waits", ["change", "throw away"]];
}

function fillList(list, items) {
  const text = items.map((each) => each.outerHTML).join("");
  if (list.dataset.shown === text) return;
  list.replaceChildren(...items);
  list.dataset.shown = text;
}

const LABELS = { change: "Change", send: "Send as it is", "throw away": "Throw away" };

function item(result, state, choices, why) {
  const row = document.createElement("li");
  row.className = `state-${state.split(" ")[0].replace(",", "")}`;
  const typed = new Date(result.typedAt);
  const isToday = typed.toDateString() === new Date().toDateString();
  const time = `${isToday ? "" : `${typed.toDateString()}, `}${typed.toTimeString().slice(0, 5)}`;
  row.append(piece("span", result.words), " ", piece("b", state), " ", piece("small", time));
  if (why) row.append(piece("p", why));
  if (choices.length) {
    const buttons = document.createElement("div");
    buttons.className = "buttons";
    for (const choice of choices) {
      const button = piece("button", LABELS[choice]);
      button.type = "button";
      button.dataset.do = choice;
      button.dataset.key = result.key;
      buttons.append(button);
    }
    row.append(buttons);
  }
  return row;
}

function piece(tag, text) {
  const made = document.createElement(tag);
  made.textContent = text;
  return made;
}

function renderLine(results) {
  const old = results.filter((each) => queue.isOld(each)).length;
  const waiting = results.filter((each) => each.state === "waiting").length - old;
  const refused = results.filter((each) => each.state === "refused").length;
  const held = results.filter((each) => each.state === "held").length;
  const said = [];
  let mood = "good";
  if (waiting) {
    mood = "wait";
    said.push(waiting === 1 ? "1 result waits to be sent." : `${waiting} results wait to be sent.`);
  }
  if (old) {
    mood = "bad";
    said.push(
      old === 1
        ? "1 result has waited for more than a week, and is sent only when you say so: see below."
        : `${old} results have waited for more than a week, and are sent only when you say so: see below.`,
    );
  }
  if (held) {
    mood = "wait";
    said.push(held === 1 ? "1 is being changed." : `${held} are being changed.`);
  }
  if (refused) {
    mood = "bad";
    said.push(refused === 1 ? "1 was refused: see why below." : `${refused} were refused: see why below.`);
  }
  if (!said.length) said.push("Everything typed here is sent.");
  // Another tab may have sent what this one could not: then there is no trouble left.
  const passes = sender.trouble === "no line" || sender.trouble === "busy";
  const trouble = (passes && !waiting ? null : sender.trouble) ?? poller.trouble;
  const words = {
    "no line": "No line; it is tried again by itself.",
    busy: "The service is busy; it is tried again by itself.",
    "logged out": "You are logged out: nothing is sent.",
    "other person": "Somebody else has logged in on this browser: nothing is sent under their name.",
    page: "The browser did not let this page send. Open it again.",
  }[trouble];
  if (words) {
    mood = trouble === "no line" || trouble === "busy" ? "wait" : "bad";
    said.push(words);
  }
  if (!lasts) {
    mood = "bad";
    said.push("This browser keeps nothing: what waits is lost when the page closes.");
  }
  const others = queue.countOfOthers();
  if (others) {
    said.push(`${others} of another person wait here for that person to log in.`);
  }
  line.hidden = false;
  line.dataset.mood = mood;
  const text = said.join(" ");
  const shown = line.querySelector("p");
  if (shown.textContent !== text) shown.textContent = text;
  const wants = trouble === "logged out" || trouble === "other person";
  let link = line.querySelector("a");
  if (wants && !link) {
    link = piece("a", "Log in again");
    link.href = `${logIn}?next=${encodeURIComponent(location.pathname + location.search)}`;
    line.append(link);
  } else if (!wants) {
    link?.remove();
  }
}

/* A result that waits belongs to somebody who is not on the board: put them back on it. */
function bringBack() {
  const missing = new Set(
    queue.all()
      .filter((each) => each.session === session && !entryOf(each.approach))
      .map((each) => each.approach),
  );
  const offered = new Set(
    [...document.querySelectorAll("#add option")].map((each) => each.value),
  );
  const wanted = [...missing].filter((each) => offered.has(each));
  if (!wanted.length) return;
  const asked = new URLSearchParams(location.search);
  for (const each of wanted) asked.append("approach", each);
  location.replace(`${location.pathname}?${asked}`);
}

bringBack();
for (const entry of board.querySelectorAll(".entry")) prepare(entry);
render();
window.addEventListener("storage", render);
window.addEventListener("online", () => {
  sender.wake();
  poller.now();
});
sender.wake();
poller.start();
