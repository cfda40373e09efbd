/** The live trace of both velocities on a small canvas: drawn when samples came, once a frame. */

import { TraceBuffer, SPAN_S } from "../models/trace-buffer.js";
import { write } from "../lib/dom.js";

export const LINES = {
  pelvis: { value: "pelvis", token: "--pelvis", dash: [], width: 2.5 },
  upper_back: { value: "upperBack", token: "--upper-back", dash: [9, 4], width: 2.5 },
};

export class VelocityTrace {
  #canvas; #scale; #lines; #buffer = new TraceBuffer(); #frame = null; #resize; #theme; #redraw;

  /** `element` holds a canvas and a .trace-scale; `lines`: those of LINES that are drawn. */
  constructor(element, lines = Object.values(LINES)) {
    this.#lines = lines;
    this.#canvas = element.querySelector("canvas");
    this.#scale = element.querySelector(".trace-scale");
    this.#redraw = () => this.#schedule();
  }

  connect() {
    this.#resize = new ResizeObserver(this.#redraw);
    this.#resize.observe(this.#canvas);
    this.#theme = matchMedia("(prefers-color-scheme: dark)");
    this.#theme.addEventListener("change", this.#redraw);
  }

  disconnect() {
    this.#resize.disconnect();
    this.#theme.removeEventListener("change", this.#redraw);
    cancelAnimationFrame(this.#frame);
    this.#frame = null;
  }

  push(trace) {
    this.#buffer.push(trace);
    this.#schedule();
  }

  clear() {
    this.#buffer.clear();
    this.#schedule();
  }

  #schedule() {
    this.#frame ??= requestAnimationFrame(() => {
      this.#frame = null;
      this.#draw();
    });
  }

  #draw() {
    const { width, height } = this.#fitted();
    const pen = this.#canvas.getContext("2d");
    const ratio = devicePixelRatio;
    const tokens = getComputedStyle(this.#canvas);
    const { end, scale, points } = this.#buffer;
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, height);
    zeroLine(pen, tokens.getPropertyValue("--rule-strong"), width, height);
    write(this.#scale, `\u00b1 ${scale} \u00b0/s`);
    const place = (time, velocity) => [
      width + ((time - end) / SPAN_S) * width,
      (height / 2) * (1 - velocity / scale),
    ];
    for (const line of this.#lines) curve(pen, line, tokens.getPropertyValue(line.token), points, place);
  }

  /** Canvas pixels brought in line with its box. */
  #fitted() {
    const { clientWidth: width, clientHeight: height } = this.#canvas;
    const [w, h] = [width, height].map((side) => Math.round(side * devicePixelRatio));
    if (this.#canvas.width !== w) this.#canvas.width = w;
    if (this.#canvas.height !== h) this.#canvas.height = h;
    return { width, height };
  }
}

function zeroLine(pen, colour, width, height) {
  pen.strokeStyle = colour;
  pen.lineWidth = 1;
  pen.setLineDash([2, 4]);
  pen.beginPath();
  pen.moveTo(0, height / 2);
  pen.lineTo(width, height / 2);
  pen.stroke();
}

/** A sample that is missing breaks the line: a gap is shown as a gap. */
function curve(pen, { value, dash, width }, colour, points, place) {
  pen.strokeStyle = colour;
  pen.lineWidth = width;
  pen.setLineDash(dash);
  pen.beginPath();
  let drawing = false;
  for (const point of points) {
    const missing = point[value] === null || point[value] === undefined;
    if (!missing) pen[drawing ? "lineTo" : "moveTo"](...place(point.time, point[value]));
    drawing = !missing;
  }
  pen.stroke();
}
