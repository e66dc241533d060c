// The wall: its picture, the numbers and the path over it, and the picked cell.

const picture = document.getElementById("picture"), over = document.getElementById("over");
const place = document.getElementById("wall"), stage = document.getElementById("stage");
const MOST_WIDE = 4096; // pixels of the zoomed wall: the canvas over it must fit the memory
const CASING = "rgba(8, 9, 11, .84)", FAINT = 130 / 255; // as in the window's overlay

export class Wall {
  /** facts: the first message; asks: called with messages for the wall. */
  constructor(facts, asks) {
    Object.assign(this, { facts, asks });
    this.numbers = null;
    this.picked = null;
    this.shows = { numbers: false, path: false };
    this.waiting = null; // [number, bytes]: the newest picture, while one is being decoded
    this.busy = false;
    this.zoom = 1; // so many times as large as the whole wall; `middle` of the stage, in shares of the wall
    this.middle = [0.5, 0.5];
    new ResizeObserver(() => this.fit()).observe(stage);
    this.fit();
  }

  /** The wall as large as the stage allows, in its proportions, then zoomed; no further than its edges. */
  fit() {
    const style = getComputedStyle(stage), { columns, rows, tall } = this.facts;
    const wide = stage.clientWidth - 2 * parseFloat(style.paddingLeft);
    const high = stage.clientHeight - 2 * parseFloat(style.paddingTop);
    const whole = Math.max(Math.floor(Math.min(wide, high / tall)), 1);
    this.most = Math.max(Math.min(Math.max(columns, rows) / 4, MOST_WIDE / (whole * devicePixelRatio)), 1);
    this.zoom = Math.min(this.zoom, this.most);
    const width = Math.max(Math.round(whole * this.zoom), 1), height = Math.max(Math.round(width * tall), 1);
    const shift = [[width, wide], [height, high]].map(([size, room], axis) => {
      const free = Math.max((size - room) / 2, 0);
      return Math.max(Math.min((0.5 - this.middle[axis]) * size, free), -free);
    });
    this.middle = [0.5 - shift[0] / width, 0.5 - shift[1] / height];
    place.style.width = `${width}px`;
    place.style.height = `${height}px`;
    place.style.transform = this.zoom > 1 ? `translate(${shift[0]}px, ${shift[1]}px)` : "";
    Object.assign(this, { width, height });
    this.ask();
    this.overlay();
  }

  /** Zoom by a factor; what is at a place of the page, else in the middle, stays there. */
  nearer(by, x, y) {
    const box = place.getBoundingClientRect();
    const zoom = Math.max(Math.min(this.zoom * by, this.most), 1), kept = this.zoom / zoom;
    const at = x === undefined ? this.middle : [(x - box.left) / box.width, (y - box.top) / box.height];
    this.middle = zoom === 1 ? [0.5, 0.5] : at.map((share, axis) => share + (this.middle[axis] - share) * kept);
    this.zoom = zoom;
    this.fit();
  }

  /** Show what is so many pixels right of what is seen, and below. */
  scroll(right, down) {
    this.middle = [this.middle[0] + right / this.width, this.middle[1] + down / this.height];
    this.fit();
  }

  /** Tell the wall what this page needs; also after a new connection. */
  ask() {
    this.asks({ wide: Math.min(Math.ceil(this.width * devicePixelRatio), 16384) });
    this.asks({ pick: this.picked });
    if (this.shows.numbers) this.asks({ numbers: Math.min(this.width, 16384) });
  }

  /** Show a picture as soon as the one before is there; only then is it acknowledged. */
  async show(number, bytes) {
    this.waiting = [number, bytes];
    if (this.busy) return;
    this.busy = true;
    while (this.waiting) {
      const [shown, content] = this.waiting;
      this.waiting = null;
      try {
        if (document.hidden) await new Promise((seen) =>
          document.addEventListener("visibilitychange", seen, { once: true }));
        const image = await createImageBitmap(new Blob([content]));
        if (picture.width !== image.width || picture.height !== image.height) {
          picture.width = image.width;
          picture.height = image.height;
        }
        picture.getContext("2d").drawImage(image, 0, 0);
        image.close();
      } catch { /* a picture that cannot be decoded: the next one comes */ }
      this.asks({ seen: shown });
    }
    this.busy = false;
  }

  toggle(what) {
    this.shows[what] = !this.shows[what];
    if (what === "numbers") this.ask();
    this.overlay();
  }

  gotNumbers(numbers) {
    this.numbers = numbers;
    this.overlay();
  }

  /** [column, row] at a place of the page, as in the window's layout. */
  cellAt(x, y) {
    const box = place.getBoundingClientRect(), { columns, rows } = this.facts;
    const column = Math.floor((x - box.left) / box.width * columns);
    const row = Math.floor((y - box.top) / box.height * rows);
    return column >= 0 && row >= 0 && column < columns && row < rows ? [column, row] : null;
  }

  pick(cell) {
    this.picked = cell;
    this.asks({ pick: cell });
    this.overlay();
  }

  /** Move the picked cell by so many columns and rows; the first time from the top left. */
  move(right, down) {
    const { columns, rows } = this.facts;
    const [column, row] = this.picked ?? [-right, -down];
    const within = (at, most) => Math.max(Math.min(at, most - 1), 0);
    this.pick([within(column + right, columns), within(row + down, rows)]);
  }

  /** The middle of a cell, in pixels of the page from the wall's corner. */
  centre([column, row]) {
    return [(column + 0.5) * this.width / this.facts.columns, (row + 0.5) * this.height / this.facts.rows];
  }

  overlay() {
    const dense = devicePixelRatio;
    over.width = Math.round(this.width * dense);
    over.height = Math.round(this.height * dense);
    const pen = over.getContext("2d");
    pen.scale(dense, dense);
    if (this.shows.path) {
      pen.globalAlpha = this.shows.numbers ? FAINT : 1;
      this.path(pen);
      pen.globalAlpha = 1;
    }
    if (this.shows.numbers && this.numbers) this.write(pen);
    if (this.picked) this.mark(pen);
  }

  write(pen) {
    pen.font = `bold ${this.numbers.size * this.width / this.numbers.wide}px "DejaVu Sans", Verdana, sans-serif`;
    Object.assign(pen, { textAlign: "center", textBaseline: "middle", lineJoin: "round", lineWidth: 3 });
    pen.strokeStyle = "rgba(0, 0, 0, .8)";
    pen.fillStyle = "#fff";
    for (const [column, row, text] of this.numbers.shown) {
      const [middle, y] = this.centre([column, row]), half = pen.measureText(text).width / 2 + 1;
      const x = Math.max(Math.min(middle, this.width - half), half);
      pen.strokeText(text, x, y);
      pen.fillText(text, x, y);
    }
  }

  mark(pen) {
    const wide = this.width / this.facts.columns, high = this.height / this.facts.rows;
    const [column, row] = this.picked;
    for (const [colour, size] of [["#000", 5], [getComputedStyle(document.body).getPropertyValue("--accent"), 2]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = size;
      pen.strokeRect(column * wide, row * high, wide, high);
    }
  }

  /** A line in its colour: a ring at its LED 0, arrows along it, thin between strips, a bar at its end. */
  path(pen) {
    const { runs, ends, lines } = this.facts;
    const cell = Math.min(this.width / this.facts.columns, this.height / this.facts.rows);
    const thick = Math.max(Math.min(cell * 0.11, 3), 1);
    pen.lineCap = "round";
    for (const casing of [true, false]) { // all casings first, so that none hides another line
      const more = casing ? Math.max(thick / 2, 0.7) : 0;
      let before = null;
      for (const [line, from, to, cells] of runs) {
        pen.strokeStyle = pen.fillStyle = casing ? CASING : lines[line % lines.length];
        if (before && before[0] === line) this.stroke(pen, before[1], from, thick / 2 + more);
        this.stroke(pen, from, to, thick + 2 * more);
        this.arrows(pen, from, to, cells, Math.min(Math.max(cell * 0.27, 3), 9) + more);
        before = [line, to];
      }
      for (const [line, first, last] of ends) {
        pen.strokeStyle = pen.fillStyle = casing ? CASING : lines[line % lines.length];
        pen.lineWidth = thick + 2 * more;
        pen.beginPath();
        pen.arc(...this.centre(first), Math.max(cell * 0.3 - thick / 2, thick), 0, 2 * Math.PI);
        pen.stroke();
        const half = Math.max(cell * 0.24, thick) + more, [x, y] = this.centre(last);
        pen.fillRect(x - half, y - half, 2 * half, 2 * half);
      }
    }
  }

  stroke(pen, from, to, wide) {
    pen.lineWidth = wide;
    pen.beginPath();
    pen.moveTo(...this.centre(from));
    pen.lineTo(...this.centre(to));
    pen.stroke();
  }

  arrows(pen, from, to, cells, size) {
    if (cells < 2) return;
    const [x0, y0] = this.centre(from), [x1, y1] = this.centre(to);
    const length = Math.hypot(x1 - x0, y1 - y0), ax = (x1 - x0) / length, ay = (y1 - y0) / length;
    const step = length / (cells - 1), count = Math.max(Math.round(cells / 6), 1);
    for (let number = 0; number < count; number++) {
      const at = step * (Math.floor((cells - 1) * (number + 0.5) / count) + 0.5);
      const x = x0 + ax * at, y = y0 + ay * at, bx = x - ax * size * 0.8, by = y - ay * size * 0.8;
      pen.beginPath();
      pen.moveTo(x + ax * size, y + ay * size);
      pen.lineTo(bx - ay * size * 0.85, by + ax * size * 0.85);
      pen.lineTo(bx + ay * size * 0.85, by - ax * size * 0.85);
      pen.fill();
    }
  }

  /** The picture as it is shown, with what lies over it, as a PNG. */
  save() {
    const both = document.createElement("canvas");
    both.width = picture.width;
    both.height = picture.height;
    const pen = both.getContext("2d");
    pen.drawImage(picture, 0, 0);
    const { picked } = this;
    this.picked = null;
    this.overlay();
    pen.drawImage(over, 0, 0, both.width, both.height);
    this.picked = picked;
    this.overlay();
    return new Promise((done) => both.toBlob(done, "image/png"));
  }
}
