// Where the eye is: a view without perspective, turned about the vehicle's Z axis and tilted from level.
// Lengths mm, angles radians. Turn 0 and tilt 0 is the side view from the left: X to the right, Z up.

import { Matrix4, Vector3 } from 'three';

const LEAST_SPAN = 5; // half the height of what is shown, mm
const GREATEST_SPAN = 1e5;
const UPRIGHT = Math.PI / 2;

export class Orbit {
  constructor() {
    this.turn = 0;
    this.tilt = 0;
    this.target = new Vector3();
    this.span = 1000;
    this.across = new Vector3();
    this.up = new Vector3();
    this.back = new Vector3();
    this.look(0, 0);
  }

  look(turn, tilt) {
    this.turn = turn - 2 * Math.PI * Math.round(turn / (2 * Math.PI));
    this.tilt = Math.min(UPRIGHT, Math.max(-UPRIGHT, tilt));
    const [c, s, level] = [Math.cos(this.turn), Math.sin(this.turn), Math.cos(this.tilt)];
    this.across.set(c, s, 0);
    this.back.set(s * level, -c * level, Math.sin(this.tilt));
    this.up.crossVectors(this.back, this.across);
  }

  // dx to the right and dy up, as parts of half the height shown
  pan(dx, dy) {
    this.target.addScaledVector(this.across, -dx * this.span).addScaledVector(this.up, -dy * this.span);
  }

  // keeps the place under (x, y) where it is; x and y as parts of half the height shown
  zoom(factor, x = 0, y = 0) {
    const span = Math.min(GREATEST_SPAN, Math.max(LEAST_SPAN, this.span * factor));
    const moved = this.span - span;
    this.target.addScaledVector(this.across, x * moved).addScaledVector(this.up, y * moved);
    this.span = span;
  }

  // shows all of some points ([x, y, z, x, ...]), with a margin, in a window of an aspect (width / height)
  fit(points, aspect) {
    if (!points.length) return;
    const at = new Vector3();
    const low = [Infinity, Infinity, Infinity];
    const high = [-Infinity, -Infinity, -Infinity];
    const axes = [this.across, this.up, this.back];
    for (let i = 0; i < points.length; i += 3) {
      at.fromArray(points, i);
      for (let k = 0; k < 3; k += 1) {
        const along = at.dot(axes[k]);
        low[k] = Math.min(low[k], along);
        high[k] = Math.max(high[k], along);
      }
    }
    this.target.set(0, 0, 0);
    axes.forEach((axis, k) => this.target.addScaledVector(axis, (low[k] + high[k]) / 2));
    const [width, height] = [high[0] - low[0], high[1] - low[1]];
    this.span = Math.min(GREATEST_SPAN, Math.max(LEAST_SPAN, 0.56 * Math.max(width / aspect, height)));
  }

  // puts a place [x, y, z] in the middle and shows a part of what is shown now
  aim(place, part) {
    this.target.set(...place);
    this.span = Math.max(LEAST_SPAN, this.span * part);
  }

  // sets a camera; depth is how far the scene may reach from the target
  place(camera, aspect, depth) {
    camera.left = -this.span * aspect;
    camera.right = this.span * aspect;
    camera.top = this.span;
    camera.bottom = -this.span;
    camera.near = 0;
    camera.far = 4 * depth;
    camera.position.copy(this.target).addScaledVector(this.back, 2 * depth);
    camera.quaternion.setFromRotationMatrix(new Matrix4().makeBasis(this.across, this.up, this.back));
    camera.updateProjectionMatrix();
    camera.updateMatrixWorld();
  }

  // where a place is seen, as parts of half the height shown, right and up
  seen(place) {
    const off = new Vector3().subVectors(place, this.target);
    return [off.dot(this.across) / this.span, off.dot(this.up) / this.span];
  }
}
