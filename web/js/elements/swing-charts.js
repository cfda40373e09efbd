/** Turn, separation and speed against time, with a cursor that follows the playhead. */

import { onDrag } from "../lib/drag.js";
import { paletteAt } from "../lib/palette.js";
import { plotly } from "../lib/plotly.js";
import { chartFigure, chartFrame, MARGIN } from "../models/chart-figure.js";

const CONFIG = { staticPlot: true, displayModeBar: false, responsive: false };
const STEP_S = 0.01;
const STEPS = { ArrowLeft: -STEP_S, ArrowRight: STEP_S, PageUp: -5 * STEP_S, PageDown: 5 * STEP_S };

export class SwingCharts {
  #element; #plot; #cursor; #paper; #playhead; #shown = null; #frame = null; #close = false;
  #undo = []; #width = 0;

  /** `element` holds .chart-plot, .chart-cursor and an empty .paper, whose colours print uses. */
  constructor(element, playhead) {
    this.#element = element;
    this.#plot = element.querySelector(".chart-plot");
    this.#cursor = element.querySelector(".chart-cursor");
    this.#paper = element.querySelector(".paper");
    this.#playhead = playhead;
  }

  connect() {
    const theme = matchMedia("(prefers-color-scheme: dark)");
    const resize = new ResizeObserver(() => this.#resized());
    resize.observe(this.#element);
    this.#undo = [
      () => resize.disconnect(),
      this.#playhead.listen(() => this.#placeCursor()),
      onDrag(this.#element, { onMove: ({ x }) => this.#playhead.moveTo(this.#timeAt(x)) }),
      heard(this.#element, "keydown", (event) => this.#key(event)),
      heard(theme, "change", () => this.#draw(this.#element)),
      heard(window, "beforeprint", () => this.#draw(this.#paper)),
      heard(window, "afterprint", () => this.#draw(this.#element)),
    ];
  }

  disconnect() {
    for (const undo of this.#undo.splice(0)) undo();
    globalThis.Plotly?.purge(this.#plot);
  }

  /** Draws a swing; @returns once it is drawn. */
  async show(curves, events) {
    await plotly();
    this.#shown = { curves, events };
    await this.#draw(this.#element);
  }

  /** Whole swing, or transition and downswing alone. */
  zoom(close) {
    this.#close = close;
    return this.#draw(this.#element);
  }

  async #draw(coloured) {
    this.#width = this.#element.clientWidth;
    if (this.#shown === null || this.#width === 0) return;
    const { curves, events } = this.#shown;
    this.#frame = chartFrame(curves, events, this.#width, this.#close);
    const height = Math.max(460, Math.min(this.#width * 0.8, 640)) + this.#frame.top;
    const { data, layout } = chartFigure(curves, this.#frame, paletteAt(coloured), height);
    this.#placeCursor();
    await globalThis.Plotly.react(this.#plot, data, { ...layout, width: this.#width }, CONFIG);
  }

  #resized() {
    if (this.#element.clientWidth !== this.#width) this.#draw(this.#element);
  }

  #placeCursor() {
    if (this.#frame === null) return;
    const [start, end] = this.#frame.range;
    const share = (this.#playhead.time - start) / (end - start);
    const x = MARGIN.left + share * this.#plotWidth;
    this.#cursor.hidden = share < 0 || share > 1;
    this.#cursor.style.transform = `translateX(${x.toFixed(1)}px)`;
    this.#cursor.style.top = `${this.#frame.top}px`;
    this.#cursor.style.bottom = `${MARGIN.bottom}px`;
  }

  get #plotWidth() {
    return this.#width - MARGIN.left - MARGIN.right;
  }

  #timeAt(x) {
    const [start, end] = this.#frame?.range ?? [0, 0];
    return start + ((x - MARGIN.left) / this.#plotWidth) * (end - start);
  }

  #key(event) {
    const step = STEPS[event.key];
    if (step === undefined) return;
    event.preventDefault();
    this.#playhead.moveTo(this.#playhead.time + step);
  }
}

function heard(target, name, listener) {
  target.addEventListener(name, listener);
  return () => target.removeEventListener(name, listener);
}
