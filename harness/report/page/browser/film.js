// A film: the pictures of a pattern, meant and shown, unpacked from what film.py packs.

/** Bytes of a base64 text that holds a zlib stream (RFC 1950). */
export async function inflate(text) {
  const packed = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

/** Undo the exclusive or of film.py in place: T pictures meant, then T shown, equally long. */
export function restore(bytes, count) {
  const size = bytes.length / (2 * count);
  for (let at = size; at < bytes.length; at++) {
    const back = at < count * size ? size : count * size;
    bytes[at] ^= bytes[at - back];
  }
  return bytes;
}

/** A film with `colours(which, step)`: RGB bytes of all cells, which: "meant" or "shown". */
export async function unpack(packed) {
  const count = packed.steps.length;
  const bytes = restore(await inflate(packed.data), count);
  const size = bytes.length / (2 * count);
  const palette = packed.palette && packed.palette.map(rgbOf);
  const colours = (which, step) => {
    const from = (which === "meant" ? step : count + step) * size;
    return palette
      ? fromPalette(bytes.subarray(from, from + size), palette)
      : fromPlanes(bytes.subarray(from, from + size));
  };
  return { ...packed, count, colours };
}

function fromPalette(numbers, palette) {
  const rgb = new Uint8ClampedArray(3 * numbers.length);
  numbers.forEach((number, cell) => rgb.set(palette[number], 3 * cell));
  return rgb;
}

function fromPlanes(planes) {
  const cells = planes.length / 3;
  const rgb = new Uint8ClampedArray(planes.length);
  for (let at = 0; at < planes.length; at++) rgb[3 * (at % cells) + Math.floor(at / cells)] = planes[at];
  return rgb;
}

function rgbOf(hex) {
  const code = parseInt(hex, 16);
  return [code >> 16, (code >> 8) & 255, code & 255];
}

/** "#rrggbb" of a cell. */
export function hexOf(rgb, cell) {
  return "#" + [0, 1, 2].map((c) => rgb[3 * cell + c].toString(16).padStart(2, "0")).join("");
}

/** sRGB value 0…255 as linear light 0…1 (IEC 61966-2-1). */
export function linear(value) {
  const share = value / 255;
  return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
}

const CLOSE = 0.02; // linear light: smaller differences are invisible, as in film.py
const LEAST_SEEN = 102; // how bright the smallest difference is drawn

/** Difference of two pictures: RGB bytes to draw, and which cells differ visibly. */
export function difference(meant, shown) {
  const rgb = new Uint8ClampedArray(meant.length);
  const wrong = [];
  for (let cell = 0; 3 * cell < meant.length; cell++) {
    const channels = [3 * cell, 3 * cell + 1, 3 * cell + 2];
    if (!channels.some((at) => Math.abs(linear(meant[at]) - linear(shown[at])) > CLOSE)) continue;
    wrong.push(cell);
    for (const at of channels) {
      const off = Math.abs(meant[at] - shown[at]);
      rgb[at] = off ? Math.max(off, LEAST_SEEN) : 0;
    }
  }
  return { rgb, wrong };
}
