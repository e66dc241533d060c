// What the page says in words: instruments, strip, card, trouble. Text from outside is only ever text.

export const at = (id) => document.getElementById(id);
const PLAYS = "M1 0 L12 6 L1 12 Z", PAUSES = "M1 0 H5 V12 H1 Z M7 0 H11 V12 H7 Z";
const QUIET_S = 3, LATE_MS = 500;

function put(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** The instruments; a row is made once and then changed, so that a screen reader keeps its place. */
export function gauges(list) {
  const room = at("gauges");
  while (room.children.length > list.length) room.lastChild.remove();
  list.forEach((gauge, number) => {
    const row = room.children[number] ?? room.appendChild(document.createElement("div"));
    const looks = JSON.stringify(gauge);
    if (row.looks === looks) return;
    row.looks = looks;
    row.className = gauge.alarm ? "gauge alarm" : "gauge";
    const name = document.createElement("dt"), value = document.createElement("dd");
    name.textContent = gauge.name;
    value.textContent = gauge.value;
    row.replaceChildren(name, value);
    if (gauge.filled !== null) {
      const bar = document.createElement("dd"), filled = document.createElement("i");
      bar.className = "bar";
      bar.setAttribute("aria-hidden", "true");
      filled.style.width = `${100 * Math.max(Math.min(gauge.filled, 1), 0)}%`;
      bar.append(filled);
      if (gauge.mark !== null) {
        const mark = bar.appendChild(document.createElement("b"));
        mark.style.left = `calc(${100 * Math.min(gauge.mark, 1)}% - 2px)`;
      }
      row.append(bar);
    }
    if (gauge.detail) {
      const detail = document.createElement("dd");
      detail.className = "detail";
      detail.textContent = gauge.detail;
      row.append(detail);
    }
    if (gauge.alarm) {
      const sign = document.createElement("span");
      sign.className = "sign";
      sign.textContent = "⚠\u2009";
      (row.querySelector(".detail") ?? value).prepend(sign);
    }
  });
}

/** The instrument that only a browser has: how its pictures arrive. */
export function linkGauge({ rate, delay_ms, skipped }) {
  const late = delay_ms > LATE_MS;
  const parts = [];
  if (delay_ms >= 50) parts.push(`${delay_ms} ms late`);
  if (skipped) parts.push(`${skipped} skipped`);
  return {
    name: "Pictures/s", value: rate === null ? "none new" : rate.toFixed(1),
    detail: parts.join(", "), filled: null, mark: null, alarm: late,
  };
}

/** What is late or missing, in a sentence; '' if nothing is. */
export function lateness({ quiet_s, link }) {
  if (quiet_s >= QUIET_S) return `The program has shown nothing new for ${quiet_s} s.`;
  if (link.delay_ms > 2000) return `Your connection is slow: pictures arrive ${(link.delay_ms / 1000).toFixed(1)} s late.`;
  return "";
}

export function strip(facts, told) {
  put(at("name"), facts.name);
  put(at("playing"), told.playing);
  put(at("clock"), told.time);
  put(at("kind"), told.real ? "real time" : "simulated time");
  at("paused").hidden = !told.paused;
  document.body.classList.toggle("paused", told.paused);
  const mark = told.paused ? PAUSES : PLAYS;
  if (at("mark").getAttribute("d") !== mark) at("mark").setAttribute("d", mark);
}

export function trouble(told) {
  at("trouble").hidden = told === null;
  if (told === null) return;
  put(at("trouble-summary"), told.summary);
  put(at("trouble-trace"), told.trace.join("\n"));
  at("trouble-trace").hidden = !told.trace.length;
  put(at("trouble-closing"), told.closing);
}

/** The card beside its cell. */
export function card(told, wall) {
  const panel = at("card");
  panel.hidden = told === null || wall.picked === null;
  if (panel.hidden) return;
  put(at("card-cell"), told.cell);
  put(at("card-place"), told.place);
  put(at("card-drive"), told.drive && `drive   ${told.drive}`);
  put(at("card-name"), told.colour);
  at("card-colour").hidden = !told.colour;
  at("swatch").style.background = told.colour;
  const stage = at("stage").getBoundingClientRect(), place = at("wall").getBoundingClientRect();
  const [x, y] = wall.centre(wall.picked), half = wall.width / wall.facts.columns / 2 + 12;
  const right = place.left - stage.left + x + half, top = place.top - stage.top + y - 24;
  const left = right + panel.offsetWidth > stage.width - 8 ? right - 2 * half - panel.offsetWidth : right;
  const within = (value, most) => Math.max(Math.min(value, most - 8), 8);
  panel.style.left = `${within(left, stage.width - panel.offsetWidth)}px`;
  panel.style.top = `${within(top, stage.height - panel.offsetHeight)}px`;
}

let noteEnds;
/** A note in the strip for four seconds. */
export function note(text) {
  put(at("note"), text);
  clearTimeout(noteEnds);
  noteEnds = setTimeout(() => put(at("note"), ""), 4000);
}

export function line(text) {
  at("line").hidden = !text;
  put(at("line"), text);
}
