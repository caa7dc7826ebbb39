// One chart: lines over time with findings and inspections marked, a readout that follows the
// pointer or the arrow keys, and the same figures as a table.

import { fill, h } from "./dom.js";
import { clock, day, dayKey, number } from "./words.js";

const { uPlot } = globalThis;
const HEIGHT = 230;
const LABEL_PX = 16;
const MOMENT = 0.01; // own choice: of the readings, at either end; a visit in a week is less
const WHOLE = [1, 2, 5].flatMap((n) => [1, 10, 100, 1000, 1e4].map((ten) => n * ten)).sort((a, b) => a - b);

const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

/**
 * A chart in a <figure>.
 * `lines`: [{name, colour, dash, unit, digits, isCount}], colours are names of style variables.
 */
export class Chart {
  constructor(title, lines) {
    this.title = title;
    this.lines = lines;
    this.marks = [];
    this.range = [0, 1];
    this.zone = "UTC";
    this.plot = null;
    this.stage = h("div", { class: "stage", tabindex: "0", role: "img", onkeydown: (e) => this.step(e) });
    this.readout = h("p", { class: "readout", "aria-live": "polite" });
    this.table = h("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": `${title}, by day` });
    this.empty = h("p", { class: "empty", hidden: true }, "No readings in this span.");
    this.figure = h("figure", { class: "chart" },
      h("figcaption", {}, h("h3", {}, title, " ", h("small", {}, lines[0].unit)), this.legend()),
      this.stage, this.empty, this.readout,
      h("details", {}, h("summary", {}, "The same by day, as a table"), this.table));
    this.watch = new ResizeObserver(() => this.fit());
    this.watch.observe(this.stage);
    this.scheme = matchMedia("screen and (prefers-color-scheme: dark)");
    this.recolour = () => this.plot?.redraw();
    this.scheme.addEventListener("change", this.recolour);
  }

  legend() {
    return h("p", { class: "legend" }, this.lines.map((line) =>
      h("span", {}, h("i", { class: `line ${line.colour.slice(2)} ${line.dash ? "dashed" : ""}` }), line.name)));
  }

  /** Show new data: `series` holds the API's steps, one array a line. */
  update({ series, stepS, from, to, zone, marks, now, isWhole }) {
    this.isWhole = isWhole; // every value is asked for
    this.zone = zone;
    this.marks = marks;
    this.range = [from, to];
    const isEmpty = series.every((steps) => steps.length === 0);
    this.stage.hidden = this.readout.hidden = isEmpty;
    this.figure.querySelector("details").hidden = isEmpty;
    this.empty.hidden = !isEmpty;
    if (isEmpty) return;
    const data = align(series, this.lines, stepS);
    if (!this.plot) this.plot = this.make(data);
    else this.plot.setData(data);
    this.fit();
    this.stage.setAttribute("aria-label", this.summary(series, stepS));
    fill(this.table, [this.rows(series, now)]);
  }

  make(data) {
    const axis = {
      stroke: () => css("--soft"), font: "12px system-ui, sans-serif",
      grid: { stroke: () => css("--rule"), width: 1 }, ticks: { show: false },
    };
    return new uPlot({
      width: this.stage.clientWidth || 320,
      height: HEIGHT,
      tzDate: (s) => uPlot.tzDate(new Date(s * 1000), this.zone),
      legend: { show: false },
      cursor: { y: false, drag: { x: false, y: false }, points: { size: 7 } },
      scales: { x: { range: () => this.range }, y: { range: (plot) => roomy(plot.data.slice(1), this.lines[0].isCount, this.isWhole) } },
      axes: [
        { ...axis, space: 64, size: 30, values: (_, splits, __, ___, stepS) => splits.map((s) => this.tick(s, stepS)) },
        { ...axis, size: 52, ...(this.lines[0].isCount ? { incrs: WHOLE } : {}), values: (_, splits) => splits.map((v) => number(v, (splits[1] - splits[0]) % 1 ? 1 : 0)) },
      ],
      series: [{}, ...this.lines.map((line) => ({
        stroke: () => css(line.colour), width: 2, dash: line.dash ? [6, 4] : undefined,
        points: { show: false }, spanGaps: false,
      }))],
      hooks: { draw: [(plot) => this.drawMarks(plot)], setCursor: [(plot) => this.say(plot)] },
    }, data, this.stage);
  }

  tick(s, stepS) {
    const time = s * 1000;
    const hour = clock(time, this.zone);
    return stepS >= 86400 || hour === "00:00" ? day(time, this.zone).slice(4) : hour;
  }

  fit() {
    const width = this.stage.clientWidth;
    if (this.plot && width && width !== this.plot.width) this.plot.setSize({ width, height: HEIGHT });
  }

  /** Draw findings as bands or lines, a number on top; inspections dashed, a letter below. */
  drawMarks(plot) {
    const { ctx, bbox } = plot;
    const ratio = devicePixelRatio;
    const [left, right] = [bbox.left, bbox.left + bbox.width];
    const place = (s) => Math.min(Math.max(plot.valToPos(s, "x", true), left), right);
    const shown = this.marks
      .filter((mark) => (mark.end ?? Infinity) >= this.range[0] && mark.at <= this.range[1])
      .map((mark) => ({ ...mark, x: place(mark.at), endX: mark.isPoint ? place(mark.at) : place(mark.end ?? this.range[1]),
        colour: css(mark.isSeen ? "--seen" : "--mark") }));
    ctx.save();
    for (const { x, endX, colour, isSeen } of shown) {
      ctx.globalAlpha = 0.13;
      ctx.fillStyle = colour;
      if (endX - x > 3 * ratio) ctx.fillRect(x, bbox.top, endX - x, bbox.height);
      ctx.globalAlpha = 1;
      ctx.strokeStyle = colour;
      ctx.lineWidth = 1.5 * ratio;
      ctx.setLineDash(isSeen ? [4 * ratio, 3 * ratio] : []);
      ctx.beginPath();
      ctx.moveTo(x, bbox.top);
      ctx.lineTo(x, bbox.top + bbox.height);
      ctx.stroke();
    }
    ctx.setLineDash([]);
    ctx.font = `600 ${11 * ratio}px system-ui, sans-serif`;
    ctx.textAlign = "center";
    ctx.textBaseline = "middle";
    const last = { true: -Infinity, false: -Infinity };
    for (const { x, colour, isSeen, label } of shown) {
      if (x - last[Boolean(isSeen)] < LABEL_PX * ratio) continue;
      last[Boolean(isSeen)] = x;
      const half = (5 + 3.5 * label.length) * ratio;
      const middle = Math.min(Math.max(x, left + half), right - half);
      const top = isSeen ? bbox.top + bbox.height - 17 * ratio : bbox.top;
      ctx.fillStyle = colour;
      ctx.fillRect(middle - half, top, 2 * half, 17 * ratio);
      ctx.fillStyle = css("--paper");
      ctx.fillText(label, middle, top + 9 * ratio);
    }
    ctx.restore();
  }

  /** Move the cursor by the arrow keys, from reading to reading. */
  step(event) {
    const way = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!way || !this.plot) return;
    event.preventDefault();
    const times = this.plot.data[0];
    const last = times.length - 1;
    const at = Math.min(Math.max((this.plot.cursor.idx ?? (way < 0 ? last + 1 : -1)) + way, 0), last);
    this.plot.setCursor({ left: this.plot.valToPos(times[at], "x"), top: 10 });
  }

  /** Say what stands under the cursor. */
  say(plot) {
    const { idx } = plot.cursor;
    if (idx === null || idx === undefined) {
      this.readout.textContent = "";
      return;
    }
    const time = plot.data[0][idx] * 1000;
    const values = this.lines.map((line, i) => {
      const value = plot.data[i + 1][idx];
      return value === null || value === undefined ? null : `${line.name} ${number(value, line.digits)} ${line.unit}`;
    }).filter(Boolean);
    this.readout.textContent = `${day(time, this.zone)}, ${clock(time, this.zone)}: ${values.join(", ") || "nothing"}`;
  }

  summary(series, stepS) {
    const parts = this.lines.map((line, i) => {
      if (series[i].length === 0) return null;
      const scale = line.isCount ? 3600 / stepS : 1;
      const low = Math.min(...series[i].map((step) => (line.isCount ? step.total * scale : step.low)));
      const high = Math.max(...series[i].map((step) => (line.isCount ? step.total * scale : step.high)));
      return `${line.name} between ${number(low, line.digits)} and ${number(high, line.digits)} ${line.unit}`;
    });
    return `${this.title}: ${parts.filter(Boolean).join("; ")}. Arrow keys read it out; the table below has it by day.`;
  }

  rows(series, now) {
    const days = new Map();
    series.forEach((steps, i) => steps.forEach((step) => {
      const key = dayKey(step.time, this.zone);
      if (!days.has(key)) days.set(key, { time: step.time, lines: this.lines.map(() => null) });
      const { lines } = days.get(key);
      const so = lines[i];
      lines[i] = so === null ? { ...step, sum: step.total } : {
        low: Math.min(so.low, step.low), high: Math.max(so.high, step.high), sum: so.sum + step.total,
        count: so.count + step.count,
      };
      if (so === null) lines[i].count = step.count;
    }));
    const columns = this.lines.flatMap((line) => (line.isCount
      ? [`${line.name}, all day`] : [`${line.name}, lowest`, "mean", "highest"]));
    const cells = (so, line) => {
      const wide = line.isCount ? 1 : 3;
      if (so === null) return Array(wide).fill(h("td", { class: "number" }, "–"));
      const values = line.isCount ? [so.sum] : [so.low, so.sum / so.count, so.high];
      return values.map((value) => h("td", { class: "number" }, number(value, line.digits)));
    };
    const unit = [...new Set(this.lines.map((line) => (line.isCount ? "bees" : line.unit)))].join(", ");
    return h("table", {},
      h("caption", {}, `${this.title} by day, ${unit}`),
      h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "Day"),
        columns.map((name) => h("th", { scope: "col", class: "number" }, name)))),
      h("tbody", {}, [...days].sort().reverse().map(([key, { time, lines }]) =>
        h("tr", {}, h("th", { scope: "row" }, key === dayKey(now, this.zone) ? "today" : day(time, this.zone)),
          lines.flatMap((so, i) => cells(so, this.lines[i]))))));
  }

  close() {
    this.watch.disconnect();
    this.scheme.removeEventListener("change", this.recolour);
    this.plot?.destroy();
  }
}

/** Put all lines on one row of times; a hole of more than a step, or than is usual, breaks the line. */
function align(series, lines, stepS) {
  const at = (step) => Math.round(new Date(step.time) / 1000);
  const maps = series.map((steps, i) => new Map(steps.map((step) =>
    [at(step), lines[i].isCount ? (step.total * 3600) / stepS : step.mean])));
  const times = [...new Set(maps.flatMap((map) => [...map.keys()]))].sort((a, b) => a - b);
  const gaps = times.slice(1).map((time, i) => time - times[i]).sort((a, b) => a - b);
  const usualS = Math.max(stepS, gaps[Math.floor(gaps.length / 2)] ?? 0); // a device may report more rarely
  const whole = [];
  times.forEach((time, i) => {
    if (i > 0 && time - times[i - 1] > usualS * 1.5) whole.push(times[i - 1] + usualS);
    whole.push(time);
  });
  return [whole, ...maps.map((map) => whole.map((time) => map.get(time) ?? null))];
}

/**
 * The span to draw the lines over, with some air; counts start at nothing. What stands out for a moment, as a hive
 * that is lifted, runs over the edge where it would press all else flat; the last value never does.
 */
export function roomy(lines, isCount, isWhole) {
  const values = lines.flat().filter((one) => one !== null).sort((a, b) => a - b);
  if (values.length === 0) return [0, 1];
  const at = (share) => values[Math.round(share * (values.length - 1))];
  if (isCount) return [0, Math.max(at(1) * 1.08, 10)];
  const last = lines.map((line) => line.findLast((one) => one !== null)).filter((one) => one !== undefined);
  const [least, most] = [Math.min(at(MOMENT), ...last), Math.max(at(1 - MOMENT), ...last)];
  const isPressed = !isWhole && at(1) - at(0) > 2 * Math.max(most - least, 1);
  const [low, high] = isPressed ? [least, most] : [at(0), at(1)];
  const air = Math.max((high - low) * 0.12, 0.5);
  return [low - air, high + air];
}
