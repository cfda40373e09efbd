/** The golfer from above: hip line, shoulder line, separation, and where the target is. */

import { onDrag } from "../lib/drag.js";
import { set, svg } from "../lib/dom.js";
import { bodyLine, separationArc, targetSide, turnText } from "../models/overhead-geometry.js";

const HIPS = { half: 66, ahead: 20 };
const SHOULDERS = { half: 108, ahead: 30 };
const ARC_RADIUS = 86;
const LABEL_GAP = 17;

export class OverheadView {
  #element; #playhead; #curves = null; #handedness = "right"; #parts; #undo = [];

  /** `element`: an empty SVG. */
  constructor(element, playhead) {
    this.#element = element;
    this.#playhead = playhead;
  }

  connect() {
    let from = 0;
    this.#undo = [
      this.#playhead.listen(() => this.#draw()),
      onDrag(this.#element, {
        onStart: () => { from = this.#playhead.time; },
        onMove: ({ x, startX }) => this.#playhead.moveTo(from + (x - startX) * this.#secondsPerPixel),
      }),
    ];
  }

  disconnect() {
    for (const undo of this.#undo.splice(0)) undo();
  }

  show(curves, handedness) {
    this.#curves = curves;
    this.#handedness = handedness;
    this.#parts = movingParts();
    set(this.#element, { viewBox: "-165 -160 330 305", role: "img" });
    this.#element.replaceChildren(...ground(targetSide(handedness)), ...Object.values(this.#parts));
    this.#draw();
  }

  get #secondsPerPixel() {
    return (this.#playhead.end - this.#playhead.start) / Math.max(this.#element.clientWidth, 1);
  }

  #draw() {
    if (this.#curves === null) return;
    const { time } = this.#playhead;
    const pelvis = this.#curves.at("pelvisTurn", time);
    const upperBack = this.#curves.at("upperBackTurn", time);
    if (pelvis === null || upperBack === null) return;
    const hand = this.#handedness;
    const parts = this.#parts;
    placeLine(parts.hips, parts.hipsFront, bodyLine(pelvis, hand, HIPS.half, HIPS.ahead));
    placeLine(parts.shoulders, parts.chest, bodyLine(upperBack, hand, SHOULDERS.half, SHOULDERS.ahead));
    placeEnds(parts.hipsLead, parts.hipsName, bodyLine(pelvis, hand, HIPS.half, 0), HIPS.half);
    placeEnds(parts.shouldersLead, parts.shouldersName,
      bodyLine(upperBack, hand, SHOULDERS.half, 0), SHOULDERS.half);
    set(parts.arc, { d: separationArc(pelvis, upperBack, hand, ARC_RADIUS) });
    set(this.#element, { "aria-label": spoken(pelvis, upperBack) });
  }
}

function spoken(pelvis, upperBack) {
  return `Seen from above: hips ${turnText(pelvis)}, shoulders ${turnText(upperBack)}`;
}

function movingParts() {
  return {
    arc: svg("path", { class: "overhead-arc" }),
    hips: svg("line", { class: "overhead-hips" }),
    hipsFront: svg("line", { class: "overhead-front front-pelvis" }),
    shoulders: svg("line", { class: "overhead-shoulders" }),
    chest: svg("line", { class: "overhead-front front-upper-back" }),
    hipsLead: svg("rect", { class: "mark-pelvis", width: 16, height: 16 }),
    shouldersLead: svg("circle", { class: "mark-upper-back", r: 9 }),
    hipsName: svg("text", { class: "overhead-name" }, "hips"),
    shouldersName: svg("text", { class: "overhead-name" }, "shoulders"),
  };
}

/** Ball, target line, feet and the address line: what does not move. */
function ground(side) {
  const tip = side * 150;
  return [
    svg("path", { class: "overhead-target", d: `M${-side * 150} -128H${tip}` }),
    svg("path", { class: "overhead-tip", d: `M${tip} -128l${-side * 16} -7v14z` }),
    svg("text", {
      class: "overhead-name", x: tip - side * 22, y: -138, "text-anchor": side < 0 ? "start" : "end",
    }, "to the target"),
    svg("circle", { class: "overhead-ball", cx: side * 20, cy: -128, r: 6 }),
    svg("ellipse", { class: "overhead-foot", cx: -46, cy: -14, rx: 13, ry: 30 }),
    svg("ellipse", { class: "overhead-foot", cx: 46, cy: -14, rx: 13, ry: 30 }),
    svg("line", { class: "overhead-address", x1: -140, x2: 140, y1: 0, y2: 0 }),
  ];
}

function placeLine(line, front, { lead, trail, front: ahead }) {
  set(line, { x1: lead.x, y1: lead.y, x2: trail.x, y2: trail.y });
  set(front, { x1: 0, y1: 0, x2: ahead.x, y2: ahead.y });
}

/** The lead end's mark, and the segment's name just beyond the trail end. */
function placeEnds(mark, name, { lead, trail }, half) {
  const reach = (half + LABEL_GAP) / half;
  if (mark.tagName === "rect") set(mark, { x: lead.x - 8, y: lead.y - 8 });
  else set(mark, { cx: lead.x, cy: lead.y });
  const anchor = Math.abs(trail.x) < half / 2 ? "middle" : trail.x > 0 ? "start" : "end";
  set(name, { x: trail.x * reach, y: trail.y * reach + 5, "text-anchor": anchor });
}
