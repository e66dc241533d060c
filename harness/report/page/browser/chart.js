// Draws charts as SVG: curves with dashes and names, limits, marks, and values under the pointer.

const NS = "http://www.w3.org/2000/svg";
const HIGH = 280;
const BOX = { left: 58, right: 14, top: 26, bottom: 40 };
const DASHES = ["", "7 4", "2 3", "9 3 2 3", "4 4", "1 5"];

/** About `count` round values from least to most. */
export function ticks(least, most, count = 5) {
  const span = most - least || Math.abs(most) || 1;
  const raw = span / count;
  const ten = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 2.5, 5, 10].map((n) => n * ten).find((n) => n >= raw - 1e-12 * ten);
  const values = [];
  for (let n = Math.ceil(least / step - 1e-9); n * step <= most + 1e-9 * span; n++)
    values.push(Number((n * step).toPrecision(12)));
  return values;
}

/** The range of a chart: [least x, most x, least y, most y]; limits far away do not count. */
export function range(chart) {
  const xs = chart.series.flatMap((one) => [one.x[0], one.x.at(-1)]);
  let low = Infinity;
  let high = -Infinity;
  for (const one of chart.series)
    for (const y of one.y) {
      low = Math.min(low, y);
      high = Math.max(high, y);
    }
  for (const [limit] of chart.limits) {
    if (chart.zero ? limit <= 4 * high || high <= 0 : Math.abs(limit - low) < 3 * (high - low || 1)) {
      low = Math.min(low, limit);
      high = Math.max(high, limit);
    }
  }
  if (chart.zero) low = Math.min(low, 0);
  const room = (high - low || Math.abs(high) || 1) * 0.06;
  const least = Math.min(...xs);
  const most = Math.max(...xs);
  return [least, most > least ? most : least + 1, chart.zero ? low : low - room, high + room];
}

/** The index of the value in a sorted list that is nearest, or the last one not after it. */
export function nearest(xs, x, before) {
  let low = 0;
  let high = xs.length - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (xs[middle] <= x) low = middle;
    else high = middle - 1;
  }
  if (!before && low + 1 < xs.length && xs[low + 1] - x < x - xs[low]) low++;
  return low;
}

/** The path of a curve. */
export function path(one, toX, toY) {
  let text = "";
  one.x.forEach((x, n) => {
    const [px, py] = [toX(x).toFixed(1), toY(one.y[n]).toFixed(1)];
    if (!n) text = `M${px} ${py}`;
    else text += one.step ? `H${px}V${py}` : `L${px} ${py}`;
  });
  return text;
}

/** Keep a figure filled with a chart as wide as it has room, so that its letters stay readable. */
export function showChart(figure, chart) {
  const caption = figure.querySelector("figcaption");
  let drawn = 0;
  new ResizeObserver(() => {
    const wide = Math.min(Math.max(figure.clientWidth - 26, 260), 900);
    if (wide === drawn || !figure.clientWidth) return;
    drawn = wide;
    figure.replaceChildren(caption, ...parts(chart, wide));
  }).observe(figure);
}

/** The drawing, its legend, and the line that reads values. */
function parts(chart, wide) {
  const [x0, x1, y0, y1] = range(chart);
  const toX = (x) => BOX.left + ((x - x0) / (x1 - x0)) * (wide - BOX.left - BOX.right);
  const toY = (y) => HIGH - BOX.bottom - ((y - y0) / (y1 - y0)) * (HIGH - BOX.bottom - BOX.top);
  const svg = make("svg", { viewBox: `0 0 ${wide} ${HIGH}`, role: "img" });
  svg.setAttribute("aria-label", summary(chart));
  for (const [from, to, label] of chart.spans) {
    const [left, right] = [toX(from), Math.max(toX(to), toX(from) + 2)];
    svg.append(make("rect", { class: "span", x: left, y: BOX.top, width: right - left, height: HIGH - BOX.top - BOX.bottom }));
    svg.append(words(label, Math.min(left + 4, wide - 90), HIGH - BOX.bottom - 6, "start", "soft"));
  }
  for (const y of ticks(y0, y1)) {
    svg.append(make("line", { class: "grid", x1: BOX.left, x2: wide - BOX.right, y1: toY(y), y2: toY(y) }));
    svg.append(words(String(y), BOX.left - 6, toY(y) + 4, "end", "soft"));
  }
  svg.append(words(chart.yUnit, 2, 12, "start", "soft"));
  for (const x of ticks(x0, x1, Math.max(Math.round(wide / 95), 2))) svg.append(words(String(x), toX(x), HIGH - BOX.bottom + 16, "middle", "soft"));
  svg.append(words(chart.xUnit, wide - BOX.right, HIGH - 6, "end", "soft"));
  const inside = chart.limits.filter(([limit]) => limit >= y0 && limit <= y1);
  for (const [limit, label] of inside) {
    svg.append(make("line", { class: "limit", x1: BOX.left, x2: wide - BOX.right, y1: toY(limit), y2: toY(limit) }));
    svg.append(words(label, wide - BOX.right - 2, toY(limit) - 4, "end", "limit-label"));
  }
  chart.marks.forEach(([x, label], n) => {
    svg.append(make("line", { class: "mark", x1: toX(x), x2: toX(x), y1: BOX.top, y2: HIGH - BOX.bottom }));
    svg.append(words(label, toX(x) + 3, BOX.top + 11 + 12 * (n % 4), "start", "soft"));
  });
  chart.series.forEach((one, n) => {
    svg.append(curve(n, path(one, toX, toY)));
  });
  return [svg, legend(chart), reader(svg, chart, wide, toX, x0, x1)];
}

/** A path in the colour and the dashes of curve n. */
function curve(n, d) {
  const dash = DASHES[(n + Math.floor(n / 7)) % DASHES.length];
  return make("path", { class: `curve c${n % 7}`, d, "stroke-dasharray": dash });
}

function summary(chart) {
  const parts = chart.series.map((one) => {
    const low = one.y.reduce((a, b) => Math.min(a, b), Infinity);
    const high = one.y.reduce((a, b) => Math.max(a, b), -Infinity);
    return `${one.name}: ${low} to ${high} ${chart.yUnit}`;
  });
  return `${chart.title}, against ${chart.xUnit}. ${parts.join("; ")}.`;
}

function legend(chart) {
  const list = document.createElement("ul");
  list.className = "legend";
  chart.series.forEach((one, n) => {
    const item = document.createElement("li");
    const sample = make("svg", { viewBox: "0 0 34 8", "aria-hidden": "true" });
    sample.append(curve(n, "M1 4H33"));
    item.append(sample, one.name);
    list.append(item);
  });
  return list;
}

/** The line below a chart that tells the values under the pointer. */
function reader(svg, chart, wide, toX, x0, x1) {
  const told = document.createElement("p");
  told.className = "reading";
  told.textContent = "Point at the chart to read values.";
  const hair = make("line", { class: "hair", x1: -9, x2: -9, y1: BOX.top, y2: HIGH - BOX.bottom });
  svg.append(hair);
  const read = (event) => {
    const box = svg.getBoundingClientRect();
    const share = (((event.clientX - box.left) / box.width) * wide - BOX.left) / (wide - BOX.left - BOX.right);
    const x = x0 + Math.min(Math.max(share, 0), 1) * (x1 - x0);
    hair.setAttribute("x1", toX(x));
    hair.setAttribute("x2", toX(x));
    const values = chart.series.map((one) => `${one.name} ${one.y[nearest(one.x, x, one.step)]}`);
    told.textContent = `At ${Number(x.toPrecision(4))} ${chart.xUnit}: ${values.join("; ")} (${chart.yUnit})`;
  };
  svg.addEventListener("pointermove", read);
  svg.addEventListener("pointerdown", read);
  return told;
}

function make(name, attributes) {
  const element = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
}

function words(text, x, y, anchor, kind) {
  const element = make("text", { x, y, "text-anchor": anchor, class: kind });
  element.textContent = text;
  return element;
}
