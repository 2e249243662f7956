// What fingers, mouse and keys do to a view. One finger or the left button turns; two fingers, the right button or
// shift move; pinch or wheel zooms. The wheel is left to the page unless the view has the focus.

const TURN = 0.008; // radians a pixel
const STILL = 8; // pixels a tap may wander
const SHORT = 600; // milliseconds a tap may last
const STEP = Math.PI / 36; // radians a key press

export function hands(canvas, orbit, { changed, ended, tapped, key }) {
  const down = new Map();
  let tap = null;

  const at = (event) => {
    const box = canvas.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top };
  };
  const half = () => canvas.clientHeight / 2;
  const middle = (spots) => ({
    x: spots.reduce((sum, spot) => sum + spot.x, 0) / spots.length,
    y: spots.reduce((sum, spot) => sum + spot.y, 0) / spots.length,
  });
  const spread = (spots) => Math.hypot(spots[0].x - spots[1].x, spots[0].y - spots[1].y) || 1;
  const part = (spot) => [(spot.x - canvas.clientWidth / 2) / half(), (half() - spot.y) / half()];

  canvas.addEventListener('pointerdown', (event) => {
    canvas.setPointerCapture(event.pointerId);
    down.set(event.pointerId, at(event));
    tap = down.size === 1 && event.button === 0 ? { ...at(event), time: event.timeStamp } : null;
  });

  canvas.addEventListener('pointermove', (event) => {
    if (!down.has(event.pointerId)) return;
    const before = [...down.values()];
    const from = middle(before);
    const gap = before.length > 1 ? spread(before) : 0;
    down.set(event.pointerId, at(event));
    const now = [...down.values()];
    const to = middle(now);
    if (tap && Math.hypot(to.x - tap.x, to.y - tap.y) <= STILL) {
      down.set(event.pointerId, before[0]);
      return;
    }
    tap = null;
    if (now.length > 1) {
      orbit.zoom(gap / spread(now), ...part(from));
      orbit.pan((to.x - from.x) / half(), (from.y - to.y) / half());
    } else if (event.buttons & 2 || event.shiftKey) {
      orbit.pan((to.x - from.x) / half(), (from.y - to.y) / half());
    } else {
      orbit.look(orbit.turn - (to.x - from.x) * TURN, orbit.tilt + (to.y - from.y) * TURN);
    }
    changed();
  });

  const lifted = (event) => {
    if (!down.delete(event.pointerId)) return;
    if (event.type === 'pointerup' && tap && event.timeStamp - tap.time < SHORT) {
      tapped(tap.x, tap.y);
    } else if (!tap && down.size === 0) {
      ended();
    }
    tap = null;
  };
  canvas.addEventListener('pointerup', lifted);
  canvas.addEventListener('pointercancel', lifted);
  canvas.addEventListener('contextmenu', (event) => event.preventDefault());

  canvas.addEventListener('wheel', (event) => {
    if (!event.ctrlKey && document.activeElement !== canvas) return;
    event.preventDefault();
    orbit.zoom(Math.exp(Math.max(-60, Math.min(60, event.deltaY)) * (event.ctrlKey ? 0.01 : 0.003)), ...part(at(event)));
    changed();
  }, { passive: false });

  canvas.addEventListener('keydown', (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const way = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (way && event.shiftKey) orbit.pan(-way[0] / 10, -way[1] / 10);
    else if (way) orbit.look(orbit.turn + way[0] * STEP, orbit.tilt + way[1] * STEP);
    else if (event.key === '+' || event.key === '=') orbit.zoom(1 / 1.15);
    else if (event.key === '-' || event.key === '_') orbit.zoom(1.15);
    else if (!key(event.key)) return;
    event.preventDefault();
    if (way) ended();
    changed();
  });
}
