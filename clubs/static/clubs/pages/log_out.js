/* Says before the log-out how many typed results still wait in this browser, and whose they are. */

// As the board names them: "penult.result.<member>.<key>".
const PREFIX = "penult.result.";

function listNames() {
  try {
    return Object.keys(window.localStorage).filter((each) => each.startsWith(PREFIX));
  } catch {
    return []; // a browser that keeps nothing keeps no results
  }
}

const said = document.getElementById("waiting");
const members = said.dataset.members.split(" ").filter(Boolean);
const names = listNames();
const own = names.filter((name) => members.some((each) => name.startsWith(`${PREFIX}${each}.`)));
const parts = [];
if (own.length) {
  parts.push(
    own.length === 1
      ? "1 result that you typed in is not stored yet."
      : `${own.length} results that you typed in are not stored yet.`,
    "Open the board of their session first, with a line, if you can: it sends them, or says why not.",
  );
}
const others = names.length - own.length;
if (others) parts.push(`${others} of another person wait here for that person to log in.`);
if (parts.length) {
  said.textContent = parts.join(" ");
  said.hidden = false;
}
