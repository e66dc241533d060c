// Plays a film: expected, shown, both or the difference; play, pause, step, scrub. It starts still.

import { difference, hexOf, unpack } from "./film.js";
import { cellWords } from "./find.js";
import { stepMs } from "./pace.js";
import { draw, layout, pointedAt } from "./wall.js";

const VIEWS = { both: ["meant", "shown"], meant: ["meant"], shown: ["shown"], difference: ["difference"] };
const LABELS = { meant: "expected", shown: "shown", difference: "different: marked with a cross" };

function verdict(wrong) {
  if (!wrong) return "✓ as expected";
  return `✗ ${wrong} cell${wrong > 1 ? "s" : ""} not as expected`;
}

export class Player {
  /** root: an element with the controls of the template; picking: what shares the picked cell. */
  constructor(root, wall, films, pacer, picking) {
    Object.assign(this, { root, wall, films, pacer, picking });
    this.part = (name) => root.querySelector(`[data-part="${name}"]`);
    this.step = 0;
    this.timer = 0;
    this.loaded = new Map();
    this.part("film").addEventListener("change", () => this.choose());
    this.part("view").addEventListener("change", () => this.ask());
    this.part("play").addEventListener("click", () => this.toggle());
    this.part("back").addEventListener("click", () => this.go(this.step - 1));
    this.part("next").addEventListener("click", () => this.go(this.step + 1));
    this.part("scrub").addEventListener("input", (event) => this.go(Number(event.target.value)));
    picking.add(() => this.ask());
    new ResizeObserver(() => this.ask()).observe(this.part("walls"));
    this.choose();
  }

  /** Show a film at one of its pictures. */
  async show(number, step) {
    this.part("film").value = number;
    await this.choose();
    this.go(step);
  }

  /** Show the chosen film from its first step that is not as meant. */
  async choose() {
    this.stop();
    const number = Number(this.part("film").value) || 0;
    if (!this.loaded.has(number)) this.loaded.set(number, unpack(this.films[number]));
    const film = await this.loaded.get(number);
    if ((Number(this.part("film").value) || 0) !== number) return; // another one was chosen since
    this.film = film;
    this.root.dataset.film = film.name;
    this.part("about").textContent = film.about;
    this.part("scrub").max = film.count - 1;
    this.part("buttons").hidden = film.count < 2;
    this.part("views").hidden = !film.compared;
    this.go(Math.max(film.wrong.findIndex((count) => count > 0), 0));
  }

  toggle() {
    if (this.timer) return this.stop();
    const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.timer = setInterval(() => this.go(this.step + 1, true), stepMs(this.film.hold_ms, calm));
    this.name();
  }

  stop() {
    clearInterval(this.timer);
    this.timer = 0;
    this.name();
  }

  name() {
    const playing = Boolean(this.timer);
    this.part("play").textContent = playing ? "Pause" : "Play";
    this.root.dataset.playing = playing;
  }

  go(step, playing = false) {
    if (!playing && this.timer) this.stop();
    this.step = (step + this.film.count) % this.film.count;
    this.ask();
  }

  ask() {
    if (this.film) this.pacer.ask(this, () => this.draw());
  }

  draw() {
    const { film, step, wall } = this;
    this.part("scrub").value = step;
    const which = film.of > 1 ? `step ${film.steps[step]} of 0 to ${film.of - 1}: ` : "";
    const told = which + (film.compared ? verdict(film.wrong[step]) : "");
    this.part("told").textContent = told;
    this.part("scrub").setAttribute("aria-valuetext", told);
    const meant = film.colours("meant", step);
    const shown = film.colours("shown", step);
    const off = difference(meant, shown);
    const kinds = VIEWS[film.compared ? this.part("view").value : "shown"];
    const host = this.part("walls");
    const side = kinds.length > 1 && host.clientWidth >= 620;
    const sizes = layout(wall, side ? host.clientWidth / 2 - 12 : host.clientWidth);
    this.canvases(kinds).forEach(([canvas, kind]) => {
      const rgb = { meant, shown, difference: off.rgb }[kind];
      const marked = kind === "difference" ? off.wrong : [];
      draw(canvas, wall, sizes, { rgb, marked, picked: this.picking.cell });
      canvas.setAttribute("aria-label", `${film.name}, ${which}${LABELS[kind]}`);
      canvas.onpointermove = (event) => this.point(canvas, sizes, event, meant, shown);
      canvas.onpointerdown = (event) => this.picking.pick(this.point(canvas, sizes, event, meant, shown));
    });
    if (this.picking.cell >= 0) this.tell(this.picking.cell, meant, shown);
  }

  /** One figure for each kind of picture, made again only if the kinds change. */
  canvases(kinds) {
    const host = this.part("walls");
    if (host.dataset.kinds !== kinds.join()) {
      host.dataset.kinds = kinds.join();
      host.replaceChildren(
        ...kinds.map((kind) => {
          const figure = document.createElement("figure");
          const caption = document.createElement("figcaption");
          caption.textContent = LABELS[kind];
          const canvas = document.createElement("canvas");
          canvas.setAttribute("role", "img");
          figure.append(caption, canvas);
          return figure;
        }),
      );
    }
    return [...host.querySelectorAll("canvas")].map((canvas, n) => [canvas, kinds[n]]);
  }

  point(canvas, sizes, event, meant, shown) {
    const cell = pointedAt(canvas, this.wall, sizes, event);
    if (cell >= 0) this.tell(cell, meant, shown);
    return cell;
  }

  tell(cell, meant, shown) {
    const expected = this.film.compared ? `expected ${hexOf(meant, cell)}, ` : "";
    const colours = ` · ${expected}shown ${hexOf(shown, cell)}`;
    const dark = this.wall.ledAt(cell) === undefined;
    this.part("reading").textContent = cellWords(this.wall, cell) + (dark ? "" : colours);
  }
}
