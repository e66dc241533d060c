// Draws a wall on a canvas: a square for each cell, and marks that need no colour.

const SURROUND = "rgb(9 10 12)";
const CELL = "rgb(28 30 36)"; // an LED without a picture
const EDGE = "rgb(62 66 75)";
const DIM = "rgb(146 149 157)";
const ACCENT = "rgb(238 178 104)";
const LEFT = 30; // pixels of the screen, for the numbers of rows
const TOP = 18; // and of columns
const STEPS = [1, 2, 5, 10, 20, 50, 100, 200, 500];

/** Sizes for a wall drawn so wide: the side of a cell and the origin, in CSS pixels. */
export function layout(wall, wide, most = 480) {
  const pitch = wall.pitch; // width over height
  const across = Math.min((wide - LEFT - 4) / wall.columns, ((most - TOP) * pitch) / wall.rows, 34);
  const side = Math.max(across, 1);
  return {
    across: side,
    down: side / pitch,
    left: LEFT,
    top: TOP,
    wide: Math.ceil(LEFT + side * wall.columns + 4),
    high: Math.ceil(TOP + (side / pitch) * wall.rows + 4),
  };
}

/** The cell at a point in CSS pixels, or -1. */
export function cellAt(wall, sizes, x, y) {
  const column = Math.floor((x - sizes.left) / sizes.across);
  const row = Math.floor((y - sizes.top) / sizes.down);
  const inside = column >= 0 && row >= 0 && column < wall.columns && row < wall.rows;
  return inside ? row * wall.columns + column : -1;
}

/** The cell under the pointer of an event, or -1; the page may show the canvas smaller. */
export function pointedAt(canvas, wall, sizes, event) {
  const box = canvas.getBoundingClientRect();
  const scale = sizes.wide / box.width;
  return cellAt(wall, sizes, (event.clientX - box.left) * scale, (event.clientY - box.top) * scale);
}

/** How many cells from one number to the next, so that numbers have `least` pixels. */
export function every(side, least) {
  return STEPS.find((step) => step * side >= least) ?? 1000;
}

/**
 * Draw. rgb: bytes of all cells, or null for a wall without a picture. marked: cells with a cross;
 * picked: the cell with a frame, or -1; numbers: a text for each cell, or null.
 */
export function draw(canvas, wall, sizes, { rgb = null, marked = [], picked = -1, numbers = null }) {
  const dense = globalThis.devicePixelRatio || 1;
  canvas.width = Math.round(sizes.wide * dense);
  canvas.height = Math.round(sizes.high * dense);
  canvas.style.width = `${sizes.wide}px`;
  const pen = canvas.getContext("2d");
  pen.scale(dense, dense);
  pen.fillStyle = SURROUND;
  pen.fillRect(0, 0, sizes.wide, sizes.high);
  axes(pen, wall, sizes);
  const { across, down } = sizes;
  const between = across >= 5 ? 1 : 0;
  for (let cell = 0; cell < wall.columns * wall.rows; cell++) {
    const [x, y] = corner(wall, sizes, cell);
    if (wall.ledAt(cell) === undefined) {
      pen.strokeStyle = EDGE;
      line(pen, x + 1, y + down - 1, x + across - 1, y + 1);
      continue;
    }
    pen.fillStyle = rgb ? `rgb(${rgb[3 * cell]} ${rgb[3 * cell + 1]} ${rgb[3 * cell + 2]})` : CELL;
    pen.fillRect(x, y, across - between, down - between);
    if (numbers) number(pen, numbers[cell], x, y, across, down);
  }
  for (const cell of marked) cross(pen, wall, sizes, cell);
  if (picked >= 0) frame(pen, wall, sizes, picked);
}

function corner(wall, sizes, cell) {
  const column = cell % wall.columns;
  return [
    sizes.left + column * sizes.across,
    sizes.top + ((cell - column) / wall.columns) * sizes.down,
  ];
}

function axes(pen, wall, sizes) {
  pen.fillStyle = DIM;
  pen.font = "11px system-ui, sans-serif";
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  const over = every(sizes.across, 8 * String(wall.columns).length + 6);
  for (let column = 0; column < wall.columns; column += over)
    pen.fillText(String(column), sizes.left + (column + 0.5) * sizes.across, TOP / 2);
  pen.textAlign = "right";
  const under = every(sizes.down, 13);
  for (let row = 0; row < wall.rows; row += under)
    pen.fillText(String(row), LEFT - 6, sizes.top + (row + 0.5) * sizes.down);
}

function number(pen, text, x, y, across, down) {
  const size = Math.min(down * 0.5, (across / Math.max(text.length, 2)) * 1.5, 12);
  if (size < 6) return;
  pen.fillStyle = "rgb(222 220 212)";
  pen.font = `${size}px system-ui, sans-serif`;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillText(text, x + across / 2, y + down / 2);
}

function cross(pen, wall, sizes, cell) {
  const [x, y] = corner(wall, sizes, cell);
  const inset = Math.min(sizes.across, sizes.down) * 0.22;
  const ends = [x + inset, y + inset, x + sizes.across - inset, y + sizes.down - inset];
  for (const [colour, wide] of [["black", 4], [ACCENT, 2]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = Math.min(wide, Math.max(sizes.across / 3, 1));
    line(pen, ends[0], ends[1], ends[2], ends[3]);
    line(pen, ends[0], ends[3], ends[2], ends[1]);
  }
  pen.lineWidth = 1;
}

function frame(pen, wall, sizes, cell) {
  const [x, y] = corner(wall, sizes, cell);
  for (const [colour, grow] of [["black", 4], ["white", 2.5], [ACCENT, 1]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = 1.5;
    pen.strokeRect(x - grow, y - grow, sizes.across + 2 * grow, sizes.down + 2 * grow);
  }
  pen.lineWidth = 1;
}

function line(pen, x1, y1, x2, y2) {
  pen.beginPath();
  pen.moveTo(x1, y1);
  pen.lineTo(x2, y2);
  pen.stroke();
}
