// Turning and zooming by mouse, finger and wheel. One finger up or down scrolls the page.
const RADIANS_PER_PX = 0.008;
const TAP_PX = 6;

export class Gestures {
  // `tap(event)` is told what was neither a turn nor a scroll; `pinch(ratio, radians)` two fingers, and
  // returns whether it took them; `settle()` is told when they are gone.
  constructor(canvas, scene, { tap, pinch, settle }) {
    Object.assign(this, { canvas, scene, tap, pinch, settle, pointers: new Map() });
    canvas.style.touchAction = "pan-y"; // the browser scrolls, and takes the pointer when it does
    for (const [name, does] of Object.entries({
      pointerdown: this.begin, pointermove: this.move, pointerup: this.end, pointercancel: this.cancel,
    })) canvas.addEventListener(name, does.bind(this));
    canvas.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && matchMedia("(max-width: 46rem)").matches) return;
      event.preventDefault();
      scene.zoomBy(Math.exp(-event.deltaY * 0.001));
    }, { passive: false });
  }

  get isPinching() {
    return this.pointers.size === 2;
  }

  begin(event) {
    if (event.button > 0) return;
    if (event.pointerType === "mouse") this.canvas.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    this.far = this.pointers.size > 1 ? Infinity : 0;
  }

  move(event) {
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    const now = { x: event.clientX, y: event.clientY };
    const apart = () => {
      const [one, other] = this.pointers.values();
      return [Math.hypot(one.x - other.x, one.y - other.y), Math.atan2(one.y - other.y, other.x - one.x)];
    };
    if (this.isPinching) {
      const [was, before] = apart();
      this.pointers.set(event.pointerId, now);
      const [is, after] = apart();
      if (was > 0 && !this.pinch(is / was, after - before)) this.scene.zoomBy(is / was);
      return;
    }
    this.pointers.set(event.pointerId, now);
    const right = now.x - before.x, down = now.y - before.y;
    this.far += Math.abs(right) + Math.abs(down);
    if (this.far < TAP_PX) return;
    this.scene.turn(right * RADIANS_PER_PX, event.pointerType === "mouse" ? down * RADIANS_PER_PX : 0);
  }

  // Keeps in mind where a finger is that moves something else.
  follow(event) {
    if (this.pointers.has(event.pointerId)) this.pointers.set(event.pointerId, { x: event.clientX, y: event.clientY });
  }

  // Forgets a finger; returns whether it was known.
  release(event) {
    if (this.isPinching) this.settle();
    return this.pointers.delete(event.pointerId);
  }

  end(event) {
    const known = this.release(event);
    if (known && this.pointers.size === 0 && this.far < TAP_PX) this.tap(event);
  }

  cancel(event) {
    this.pointers.delete(event.pointerId);
  }
}
