import {
  makeRandom,
  normalizeQuaternion,
  type Pose,
  type Random,
  rotate,
  type ScanData,
  type Vec3,
} from '@lapjoint/engine';

/** A point of a surface with its outward normal. */
export interface SurfacePoint {
  readonly p: Vec3;
  readonly n: Vec3;
}

/** Shapes sampled at random; each call gives new samples of the same shape. `density` in points per mm^2. */
export class ShapeSampler {
  readonly random: Random;

  constructor(name: string) {
    this.random = makeRandom(11, name);
  }

  #between(half: number): number {
    return (2 * this.random.uniform() - 1) * half;
  }

  plane(halfX: number, halfY: number, density: number, center: Vec3 = [0, 0, 0]): SurfacePoint[] {
    return Array.from({ length: Math.round(4 * halfX * halfY * density) }, () => ({
      p: [center[0] + this.#between(halfX), center[1] + this.#between(halfY), center[2]],
      n: [0, 0, 1],
    }));
  }

  box(size: Vec3, density: number, center: Vec3 = [0, 0, 0]): SurfacePoint[] {
    const out: SurfacePoint[] = [];
    for (let axis = 0; axis < 3; axis++) {
      const u = (axis + 1) % 3;
      const v = (axis + 2) % 3;
      for (const sign of [1, -1]) {
        const count = Math.round(size[u] * size[v] * density);
        for (let i = 0; i < count; i++) {
          const p: [number, number, number] = [...center];
          p[axis] += (sign * size[axis]) / 2;
          p[u] += this.#between(size[u] / 2);
          p[v] += this.#between(size[v] / 2);
          const n: [number, number, number] = [0, 0, 0];
          n[axis] = sign;
          out.push({ p, n });
        }
      }
    }
    return out;
  }

  /** Along z, with both end faces. */
  cylinder(radius: number, length: number, density: number): SurfacePoint[] {
    const out: SurfacePoint[] = [];
    for (let i = 0; i < 2 * Math.PI * radius * length * density; i++) {
      const t = 2 * Math.PI * this.random.uniform();
      const n: Vec3 = [Math.cos(t), Math.sin(t), 0];
      out.push({ p: [radius * n[0], radius * n[1], this.#between(length / 2)], n });
    }
    for (const sign of [1, -1]) {
      for (let i = 0; i < Math.PI * radius * radius * density; i++) {
        const t = 2 * Math.PI * this.random.uniform();
        const r = radius * Math.sqrt(this.random.uniform());
        out.push({ p: [r * Math.cos(t), r * Math.sin(t), (sign * length) / 2], n: [0, 0, sign] });
      }
    }
    return out;
  }

  sphere(radius: number, density: number, center: Vec3 = [0, 0, 0]): SurfacePoint[] {
    return Array.from({ length: Math.round(4 * Math.PI * radius * radius * density) }, () => {
      const v: Vec3 = [this.random.normal(), this.random.normal(), this.random.normal()];
      const length = Math.hypot(...v);
      const n: Vec3 = [v[0] / length, v[1] / length, v[2] / length];
      return { p: [center[0] + radius * n[0], center[1] + radius * n[1], center[2] + radius * n[2]], n };
    });
  }

  pose(shift = 500): Pose {
    const { random } = this;
    return {
      rotation: normalizeQuaternion([random.normal(), random.normal(), random.normal(), random.normal()]),
      translation: [shift * random.normal(), shift * random.normal(), shift * random.normal()],
    };
  }

  /** The points as a scan in another frame, with noise along the normals. */
  scan(points: readonly SurfacePoint[], scanFromShape: Pose, noise: number, view: Vec3 | null = null): ScanData {
    const positions = new Float32Array(3 * points.length);
    const normals = new Float32Array(3 * points.length);
    points.forEach(({ p, n }, i) => {
      const off = noise * this.random.normal();
      positions.set(rotate(scanFromShape.rotation, [p[0] + off * n[0], p[1] + off * n[1], p[2] + off * n[2]]), 3 * i);
      normals.set(rotate(scanFromShape.rotation, n), 3 * i);
    });
    return {
      origin: scanFromShape.translation,
      positions,
      normals,
      colors: null,
      triangles: null,
      viewpoint: view === null ? null : { kind: 'direction', direction: rotate(scanFromShape.rotation, view) },
    };
  }
}

/** The points that a far instrument in direction `view` sees at less than 78 degrees; nothing hides anything. */
export function seenFrom(points: readonly SurfacePoint[], view: Vec3): SurfacePoint[] {
  const length = Math.hypot(...view);
  return points.filter(({ n }) => (n[0] * view[0] + n[1] * view[1] + n[2] * view[2]) / length > 0.2);
}
