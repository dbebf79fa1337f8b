// Fingers and mouse on a drawing: one drags, two pinch and move, the wheel zooms about the pointer.

/**
 * @typedef {{ drag: (x: number, y: number, event: PointerEvent) => void,
 *   pinch: (by: number, at: [number, number], move: [number, number]) => void,
 *   tap: (at: [number, number]) => void, hover: (at: [number, number] | null) => void,
 *   rest?: () => void }} Doing
 */

const STILL = 5;  // dots within which a finger has tapped and not dragged

/** @param {HTMLElement} element @param {Doing} doing */
export function onHands(element, doing) {
  /** @type {Map<number, [number, number]>} */
  const down = new Map();
  let moved = 0;
  /** @param {PointerEvent | WheelEvent} event @returns {[number, number]} */
  const at = (event) => {
    const box = element.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  /** @param {[number, number][]} two */
  const spread = ([a, b]) => ({ size: Math.hypot(a[0] - b[0], a[1] - b[1]),
                                middle: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2] });
  element.addEventListener("pointerdown", (event) => {
    element.setPointerCapture(event.pointerId);
    if (!down.size) moved = 0;
    down.set(event.pointerId, at(event));
  });
  element.addEventListener("pointermove", (event) => {
    const before = down.get(event.pointerId), now = at(event);
    if (!before) { doing.hover(now); return; }
    const was = down.size === 2 ? spread([...down.values()]) : null;
    down.set(event.pointerId, now);
    const x = now[0] - before[0], y = now[1] - before[1];
    moved += Math.hypot(x, y);
    if (was) {
      const is = spread([...down.values()]);
      moved += STILL;
      doing.pinch(is.size / Math.max(1, was.size), [is.middle[0], is.middle[1]],
                  [is.middle[0] - was.middle[0], is.middle[1] - was.middle[1]]);
    } else if (moved > STILL || event.pointerType === "mouse") doing.drag(x, y, event);
  });
  element.addEventListener("pointerup", (event) => {
    const here = down.get(event.pointerId);
    down.delete(event.pointerId);
    if (here && moved <= STILL) doing.tap(here);
    if (!down.size && doing.rest) doing.rest();
  });
  element.addEventListener("pointercancel", (event) => { down.delete(event.pointerId); });
  element.addEventListener("pointerleave", () => { if (!down.size) doing.hover(null); });
  element.addEventListener("wheel", (event) => {
    if (document.activeElement !== element && !event.ctrlKey && !element.closest(".lw-views"))
      return;  // the page scrolls until the drawing is clicked
    event.preventDefault();
    doing.pinch(Math.exp(-0.002 * event.deltaY), at(event), [0, 0]);
  }, { passive: false });
}
