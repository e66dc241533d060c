// Joins the connection, the wall and the words; keys and clicks do what they do in the window.

import { Live } from "./live.js";
import { Wall } from "./wall.js";
import * as words from "./words.js";

const { at } = words;
const MOVES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const KEYS = { "=": "+", F1: "h" }; // more keys for the same, as in the window
const DRAGS = 4; // pixels: a mouse that moves less with its button down clicks
let facts = null, wall = null, seen = null, opener = null;

const live = new Live({
  told(message) {
    if (message.kind === "wall") meet(message);
    else if (message.kind === "numbers") wall.gotNumbers(message);
    else hear(message);
  },
  picture: (number, bytes) => wall?.show(number, bytes),
  state(text) {
    document.body.classList.add("lost");
    words.line(text);
  },
});

/** The first message of a connection. */
function meet(message) {
  const known = JSON.stringify(facts) === JSON.stringify(message);
  if (facts !== null && !known) return location.reload(); // another wall
  document.body.classList.remove("lost");
  words.line("");
  if (known) return wall.ask();
  facts = message;
  document.title = `${facts.name} · foreglow`;
  at("wall").setAttribute("aria-label", `The wall ${facts.name}, ${facts.columns} by ${facts.rows} cells`);
  wall = new Wall(facts, (asked) => live.send(asked));
  at("help").append(...facts.controls.map(helpRow), ...facts.pointing.map((one) => extraRow(...one)),
    extraRow("Shift + arrows", "pick the next cell"));
  at("list").append(...facts.sources.map(listRow));
  at("playing").disabled = !facts.sources.length;
  at("time").disabled = !facts.controls.some(({ action }) => action === "TIME");
}

function hear(told) {
  if (seen !== null && told.seen !== seen) words.note(told.seen);
  seen = told.seen;
  words.gauges([...told.gauges, words.linkGauge(told.link)]);
  words.strip(facts, told);
  words.trouble(told.trouble);
  words.card(told.card, wall);
  words.line(words.lateness(told));
  [...at("list").children].forEach((row, number) =>
    row.setAttribute("aria-current", String(number === told.source)));
}

function helpRow({ action, name, words: text }) {
  const row = document.createElement("button"), key = document.createElement("kbd");
  key.textContent = name;
  row.append(key, action === "QUIT" ? "close this view" : text);
  row.onclick = () => perform(action);
  return row;
}

function extraRow(name, text) {
  const row = document.createElement("p"), key = document.createElement("kbd");
  key.textContent = name;
  row.append(key, text);
  return row;
}

function listRow(name, number) {
  const row = document.createElement("button");
  row.textContent = name;
  row.onclick = () => live.send({ play: number });
  return row;
}

/** Open a panel and move there, or close it and go back. */
function panel(id, open) {
  if (at(id).hidden === !open) return;
  if (open) opener = document.activeElement;
  at(id).hidden = !open;
  if (open) (at(id).querySelector('[aria-current="true"]') ?? at(id).querySelector("button"))?.focus();
  else opener?.focus();
}

function perform(action) {
  const control = facts.controls.find((each) => each.action === action);
  if (control?.shared) return live.send({ do: action });
  switch (action) {
    case "ZOOM_IN": wall.nearer(Math.SQRT2); break;
    case "ZOOM_OUT": wall.nearer(Math.SQRT1_2); break;
    case "WHOLE": wall.nearer(0); break;
    case "INSTRUMENTS": at("instruments").hidden = !at("instruments").hidden; break;
    case "NUMBERS": wall.toggle("numbers"); break;
    case "PATH": wall.toggle("path"); break;
    case "SAVE": save(); break;
    case "LIST": panel("help", false); pick(null); panel("list", at("list").hidden); break;
    case "HELP": panel("list", false); pick(null); panel("help", at("help").hidden); break;
    case "DISMISS": panel("list", false); panel("help", false); pick(null); break;
    case "QUIT": live.ended ? live.open() : live.end(); break;
  }
}

function pick(cell) {
  if (wall.picked === null && cell === null) return;
  wall.pick(cell);
  if (cell === null) at("card").hidden = true;
}

async function save() {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(await wall.save());
  link.download = `${facts.name}.png`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  words.note(`saved ${link.download}`);
}

addEventListener("keydown", (event) => {
  if (facts === null || event.altKey || event.metaKey) return;
  if (event.ctrlKey) {
    const scrolls = MOVES[event.key];
    if (!scrolls || wall.zoom === 1) return;
    event.preventDefault();
    return wall.scroll(scrolls[0] * at("stage").clientWidth / 4, scrolls[1] * at("stage").clientHeight / 4);
  }
  const pressing = event.target instanceof HTMLButtonElement && (event.key === " " || event.key === "Enter");
  if (pressing) return;
  const move = MOVES[event.key];
  if (event.shiftKey && move) {
    event.preventDefault();
    return wall.move(...move);
  }
  const inPanel = event.target.closest("#list, #help");
  if (inPanel && (event.key === "ArrowDown" || event.key === "ArrowUp")) {
    const rows = [...inPanel.querySelectorAll("button")];
    const next = rows[rows.indexOf(event.target) + (event.key === "ArrowDown" ? 1 : -1)];
    event.preventDefault();
    return next?.focus();
  }
  const key = KEYS[event.key] ?? (event.key.length === 1 ? event.key.toLowerCase() : event.key);
  const control = facts.controls.find((each) => each.key === key);
  if (!control || (event.repeat && control.action !== "STEP")) return;
  event.preventDefault();
  perform(control.action);
});

// A button that the mouse pressed does not keep the keys: Space pauses, as in the window.
addEventListener("click", (event) => {
  const button = event.target.closest?.("button");
  if (button && event.detail > 0) button.blur();
});

at("stage").addEventListener("wheel", (event) => {
  if (wall === null) return;
  event.preventDefault();
  const notches = event.deltaMode ? Math.sign(event.deltaY) : Math.max(Math.min(event.deltaY / 100, 1), -1);
  wall.nearer(2 ** (-notches / 4), event.clientX, event.clientY);
}, { passive: false });

// A drag scrolls a zoomed wall and is no click. The keys stay with the page; only Tab moves them to the wall.
let held = null, dragged = false;
at("wall").addEventListener("mousedown", (event) => {
  event.preventDefault();
  dragged = false;
  held = event.button === 0 && wall?.zoom > 1 ? [event.clientX, event.clientY] : null;
});
addEventListener("mouseup", () => held = null);
addEventListener("mousemove", ({ clientX, clientY }) => {
  if (held === null) return;
  const [right, down] = [clientX - held[0], clientY - held[1]];
  if (!dragged && Math.max(Math.abs(right), Math.abs(down)) < DRAGS) return;
  dragged = true;
  held = [clientX, clientY];
  wall.scroll(-right, -down);
});
at("wall").addEventListener("click", (event) => {
  if (dragged) return;
  if (!at("help").hidden || !at("list").hidden) return perform("DISMISS");
  const cell = wall?.cellAt(event.clientX, event.clientY);
  if (cell) pick(String(cell) === String(wall.picked) ? null : cell);
});
at("stage").addEventListener("click", (event) => event.target === at("stage") && facts && perform("DISMISS"));
at("pause").onclick = () => facts && perform("PAUSE");
at("playing").onclick = () => facts && perform("LIST");
at("time").onclick = () => facts && perform("TIME");
at("ask").onclick = () => facts && perform("HELP");
