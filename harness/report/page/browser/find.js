// Finds an LED by what somebody types: "17", "0/17", "left 17", "column 3 row 5", "3,5".

/** Lookups of a wall: LEDs of a cell, and words for places. */
export function index(wall) {
  const at = new Map();
  wall.cell.forEach((cell, led) => cell >= 0 && at.set(cell, led));
  return { ...wall, ledAt: (cell) => at.get(cell) };
}

/** Where an LED is, in words. */
export function placeOf(wall, led) {
  const cell = wall.cell[led];
  const where = cell < 0 ? "no cell: it is hidden" : columnAndRow(wall, cell);
  return `${lineName(wall, wall.line[led])}, LED ${wall.led[led]} (${where})`;
}

/** What a cell is, in words. */
export function cellWords(wall, cell) {
  const led = wall.ledAt(cell);
  if (led !== undefined) return placeOf(wall, led);
  return `${columnAndRow(wall, cell)}: no LED`;
}

function columnAndRow(wall, cell) {
  return `column ${cell % wall.columns}, row ${Math.floor(cell / wall.columns)}`;
}

export function lineName(wall, line) {
  const name = wall.lines[line];
  return name === `line ${line}` ? name : `line ${line} “${name}”`;
}

/** The LEDs that a text means. Returns { leds, problem }; one of them is empty. */
export function find(wall, text) {
  const typed = text.trim().toLowerCase();
  if (!typed) return { leds: [], problem: "" };
  const cell = /^(?:c(?:ol(?:umn)?)?\s*)?(\d+)\s*(?:[,;×x]\s*|\s+(?=r)|(?=r))(?:r(?:ow)?\s*)?(\d+)$/.exec(typed);
  if (cell) return byCell(wall, Number(cell[1]), Number(cell[2]));
  const numbers = /^(?:line\s*)?(\d+)\s*[/:]?\s*(?:led)?\s*(\d+)$/.exec(typed);
  if (numbers && /[/:\s]/.test(typed)) return byLine(wall, Number(numbers[1]), Number(numbers[2]));
  const alone = /^(?:led\s*)?(\d+)$/.exec(typed);
  if (alone) return byNumber(wall, Number(alone[1]));
  const named = /^(.*?)[\s/:]+(?:led\s*)?(\d+)$/.exec(typed);
  const line = named ? wall.lines.findIndex((name) => name.toLowerCase() === named[1].trim()) : -1;
  if (line >= 0) return byLine(wall, line, Number(named[2]));
  return { leds: [], problem: "Write line/LED as 0/17, a line's name as left 17, or a cell as 3,5 (column, row)." };
}

function byCell(wall, column, row) {
  if (column >= wall.columns || row >= wall.rows)
    return { leds: [], problem: `Columns go to ${wall.columns - 1}, rows to ${wall.rows - 1}.` };
  const led = wall.ledAt(row * wall.columns + column);
  return led === undefined
    ? { leds: [], problem: `Column ${column}, row ${row} has no LED.` }
    : { leds: [led], problem: "" };
}

function byLine(wall, line, number) {
  if (line >= wall.lines.length)
    return { leds: [], problem: `There is no line ${line}; lines go to ${wall.lines.length - 1}.` };
  const led = wall.led.findIndex((one, at) => one === number && wall.line[at] === line);
  const most = wall.line.filter((one) => one === line).length - 1;
  return led < 0
    ? { leds: [], problem: `${lineName(wall, line)} has LEDs 0 to ${most}.` }
    : { leds: [led], problem: "" };
}

function byNumber(wall, number) {
  const leds = wall.led.flatMap((one, at) => (one === number ? [at] : []));
  return leds.length ? { leds, problem: "" } : { leds, problem: `No line has an LED ${number}.` };
}
