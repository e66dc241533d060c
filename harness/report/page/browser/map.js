// The map: LED numbers on the wall, read by pointer, by keys, and by search.

import { cellWords, find, placeOf } from "./find.js";
import { draw, layout, pointedAt } from "./wall.js";

const MOST_READABLE = 64; // columns: a wider wall is drawn without numbers on a narrow screen
const LEAST_SIDE = 21; // pixels that a number of three digits needs
const MOVES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/** The picked cell of a wall, and who wants to know when it changes. */
export class Picking {
  constructor() {
    this.cell = -1;
    this.listeners = [];
  }

  add(listener) {
    this.listeners.push(listener);
  }

  pick(cell) {
    if (cell < 0 || cell === this.cell) return;
    this.cell = cell;
    this.listeners.forEach((listener) => listener());
  }
}

/** The cell beside another one, inside the wall. */
export function beside(wall, cell, key) {
  if (cell < 0) return 0;
  const [across, down] = MOVES[key];
  const column = Math.min(Math.max((cell % wall.columns) + across, 0), wall.columns - 1);
  const row = Math.min(Math.max(Math.floor(cell / wall.columns) + down, 0), wall.rows - 1);
  return row * wall.columns + column;
}

export class WallMap {
  constructor(root, wall, volts, picking) {
    Object.assign(this, { root, wall, volts, picking });
    this.part = (name) => root.querySelector(`[data-part="${name}"]`);
    this.canvas = this.part("canvas");
    this.marked = [];
    this.numbers = Array.from({ length: wall.columns * wall.rows }, (_, cell) => {
      const led = wall.ledAt(cell);
      return led === undefined ? "" : String(wall.led[led]);
    });
    const area = this.part("area");
    area.addEventListener("keydown", (event) => {
      if (!(event.key in MOVES)) return;
      event.preventDefault();
      this.marked = [];
      picking.pick(beside(wall, picking.cell, event.key));
    });
    this.canvas.addEventListener("pointermove", (event) => this.point(event));
    this.canvas.addEventListener("pointerdown", (event) => {
      this.marked = [];
      picking.pick(this.point(event));
    });
    this.canvas.addEventListener("pointerleave", () => this.tell(picking.cell));
    this.part("find").addEventListener("input", () => this.search());
    picking.add(() => {
      this.draw();
      this.tell(picking.cell);
    });
    new ResizeObserver(() => this.draw()).observe(area);
  }

  search() {
    const { leds, problem } = find(this.wall, this.part("find").value);
    const cells = leds.map((led) => this.wall.cell[led]).filter((cell) => cell >= 0);
    this.marked = cells.length > 1 ? cells : [];
    this.part("found").textContent =
      problem || leds.map((led) => placeOf(this.wall, led) + this.voltsOf(led)).join("; ");
    this.part("find").setAttribute("aria-invalid", String(Boolean(problem)));
    if (cells.length) this.picking.pick(cells[0]);
    this.draw();
  }

  point(event) {
    const cell = pointedAt(this.canvas, this.wall, this.sizes, event);
    this.tell(cell >= 0 ? cell : this.picking.cell);
    return cell;
  }

  tell(cell) {
    const led = cell < 0 ? undefined : this.wall.ledAt(cell);
    const words = cell < 0 ? "Point at a cell, or use the arrow keys." : cellWords(this.wall, cell);
    this.part("reading").textContent = words + (led === undefined ? "" : this.voltsOf(led));
  }

  voltsOf(led) {
    return this.volts ? ` · ${this.volts[led].toFixed(2)} V at least` : "";
  }

  draw() {
    const room = this.part("area").clientWidth;
    const wide = this.wall.columns <= MOST_READABLE ? this.wall.columns * LEAST_SIDE + 34 : 0;
    this.sizes = layout(this.wall, Math.max(room, wide), Math.max(640, wide));
    const { numbers, marked } = this;
    draw(this.canvas, this.wall, this.sizes, { numbers, marked, picked: this.picking.cell });
  }
}
