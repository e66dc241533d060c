// Starts the page: the theme, the drawings of findings, charts, players, the map, and paper.

import { showChart } from "./chart.js";
import { unpack } from "./film.js";
import { index } from "./find.js";
import { Picking, WallMap } from "./map.js";
import { Pacer } from "./pace.js";
import { Player } from "./player.js";
import { draw, layout } from "./wall.js";

const PAPER_STEPS = 2; // of each film on paper
const data = JSON.parse(document.getElementById("data").textContent);
const walls = data.walls.map(index);
const pacer = new Pacer(() => performance.now(), (run, ms) => setTimeout(run, ms));
const pickings = walls.map(() => new Picking());

function theme() {
  const choice = document.getElementById("theme");
  const keep = (value) => {
    if (value === "auto") delete document.documentElement.dataset.theme;
    else document.documentElement.dataset.theme = value;
  };
  let kept = "auto";
  try {
    kept = localStorage.getItem("foreglow-theme") ?? "auto";
  } catch {
    // a page from a disk may have no storage
  }
  choice.value = ["auto", "light", "dark"].includes(kept) ? kept : "auto";
  keep(choice.value);
  choice.addEventListener("change", () => {
    keep(choice.value);
    try {
      localStorage.setItem("foreglow-theme", choice.value);
    } catch {
      // then the choice lasts as long as the page
    }
  });
}

function findings() {
  document.querySelectorAll("canvas[data-found]").forEach((canvas) => {
    const wall = walls[0];
    const cells = data.found[Number(canvas.dataset.found)].map((led) => wall.cell[led]);
    const marked = cells.filter((cell) => cell >= 0);
    const sizes = layout(wall, Math.min(canvas.parentElement.clientWidth, 420), 240);
    draw(canvas, wall, sizes, { marked, picked: marked.length === 1 ? marked[0] : -1 });
  });
}

/** The films on paper: a few steps of each, as expected and as shown if they differ. */
async function paper() {
  const host = document.getElementById("paper");
  if (!host || host.childElementCount) return;
  for (const packed of data.films) {
    const film = await unpack(packed);
    const last = film.count - 1;
    const wrong = film.wrong.flatMap((count, step) => (count ? [step] : []));
    const from = wrong.length ? wrong : [...film.steps.keys()];
    const many = Math.min(PAPER_STEPS, from.length);
    const some = new Set(Array.from({ length: many }, (_, n) => from[Math.round((n * (from.length - 1)) / Math.max(many - 1, 1))]));
    for (const step of some) {
      const right = film.compared ? "✓ shown" : "shown";
      for (const which of film.wrong[step] ? ["meant", "shown"] : ["shown"]) {
        const figure = document.createElement("figure");
        const caption = document.createElement("figcaption");
        const label = { meant: "expected", shown: film.wrong[step] ? "✗ shown" : right }[which];
        caption.textContent = `${film.name}${last || film.of > 1 ? `, step ${film.steps[step]}` : ""}: ${label}`;
        const canvas = document.createElement("canvas");
        const wall = walls[0];
        draw(canvas, wall, layout(wall, 300, 200), { rgb: film.colours(which, step) });
        figure.append(caption, canvas);
        host.append(figure);
      }
    }
  }
}

/** Draw everything. */
function start() {
  findings();
  document.querySelectorAll("figure[data-chart]").forEach((figure) => {
    showChart(figure, data.charts[Number(figure.dataset.chart)]);
  });
  const player = document.getElementById("player");
  if (player) {
    const playing = new Player(player, walls[0], data.films, pacer, pickings[0]);
    document.querySelectorAll("button[data-film]").forEach((button) => {
      button.addEventListener("click", () => {
        playing.show(Number(button.dataset.film), Number(button.dataset.step));
        document.getElementById("films").scrollIntoView();
        player.querySelector("[data-part=film]").focus({ preventScroll: true });
      });
    });
  }
  document.querySelectorAll("[data-failed]").forEach((root) => {
    const { wall, films, cell } = data.failed[Number(root.dataset.failed)];
    const picking = new Picking();
    picking.cell = cell;
    new Player(root, walls[wall], films, pacer, picking);
  });
  document.querySelectorAll("[data-map]").forEach((root) => {
    const number = Number(root.dataset.map);
    new WallMap(root, walls[number], number ? null : data.volts, pickings[number]);
  });
  if (data.films.length) (globalThis.requestIdleCallback ?? setTimeout)(paper);
  document.documentElement.dataset.ready = "yes";
}

theme();
requestAnimationFrame(() => setTimeout(start)); // the text is on the screen first
