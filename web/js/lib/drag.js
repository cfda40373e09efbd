/** Press and drag with mouse, pen or finger. */

/** `onMove` receives {x, startX} in px from the element's left edge; @returns the undo. */
export function onDrag(element, { onStart = () => {}, onMove }) {
  let startX = null;
  const xOf = (event) => event.clientX - element.getBoundingClientRect().left;
  const start = (event) => {
    if (event.button !== 0) return;
    element.setPointerCapture(event.pointerId);
    startX = xOf(event);
    onStart();
    onMove({ x: startX, startX });
  };
  const move = (event) => {
    if (startX !== null) onMove({ x: xOf(event), startX });
  };
  const end = () => {
    startX = null;
  };
  const heard = { pointerdown: start, pointermove: move, pointerup: end, pointercancel: end };
  for (const [name, listener] of Object.entries(heard)) element.addEventListener(name, listener);
  return () => {
    for (const [name, listener] of Object.entries(heard)) element.removeEventListener(name, listener);
  };
}
