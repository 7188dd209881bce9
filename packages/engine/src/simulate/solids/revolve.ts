import { gridLines, stepsAround } from './grid-lines.ts';
import { SolidBuilder, type SolidShape } from './solid-mesh.ts';

/**
 * A solid turned about the z axis.
 *
 * @param profile corners (radius, z) of the section, counter-clockwise seen with z up and the radius to the right:
 *                outside going up. Closed automatically; corners with radius 0 lie on the axis.
 */
export function revolve(profile: readonly (readonly [number, number])[]): SolidShape {
  return (tessellation) => {
    const largest = Math.max(...profile.map(([r]) => r));
    const around = stepsAround(largest, 2 * Math.PI, tessellation);
    const section: [number, number, boolean][] = [];
    profile.forEach(([r0, z0], k) => {
      const [r1, z1] = profile[(k + 1) % profile.length];
      if (r0 === 0 && r1 === 0) {
        section.push([r0, z0, true]);
        return;
      }
      const length = Math.hypot(r1 - r0, z1 - z0);
      gridLines(0, length, [], tessellation)
        .slice(0, -1)
        .forEach((s, i) => {
          section.push([r0 + ((r1 - r0) * s) / length, z0 + ((z1 - z0) * s) / length, i === 0]);
        });
    });
    const builder = new SolidBuilder();
    const rings = section.map(([r, z, atCorner], k) => {
      if (r === 0) return new Array<number>(around).fill(builder.add(0, 0, z));
      const [nr, nz] = section[(k + 1) % section.length];
      return Array.from({ length: around }, (_, i) => {
        let angle = (2 * Math.PI * i) / around;
        let [pr, pz] = [r, z];
        if (tessellation.jitter !== null) {
          angle += (0.8 * Math.PI * (tessellation.jitter.uniform() - 0.5)) / around;
          const along = 0.3 * tessellation.jitter.uniform();
          if (!atCorner && nr > 0) {
            pr = r + along * (nr - r);
            pz = z + along * (nz - z);
          }
        }
        return builder.add(pr * Math.cos(angle), pr * Math.sin(angle), pz);
      });
    });
    rings.forEach((ring, k) => {
      const next = rings[(k + 1) % rings.length];
      if (section[k][0] === 0 && section[(k + 1) % rings.length][0] === 0) return;
      for (let i = 0; i < around; i++) {
        const j = (i + 1) % around;
        builder.quad(ring[i], ring[j], next[j], next[i]);
      }
    });
    return builder.finish();
  };
}

/** A pin: a cylinder from z = 0 to `length` with chamfered ends. */
export function pin(radius: number, length: number, chamfer: number = Math.min(radius, length) / 8): SolidShape {
  return revolve([
    [0, 0],
    [radius - chamfer, 0],
    [radius, chamfer],
    [radius, length - chamfer],
    [radius - chamfer, length],
    [0, length],
  ]);
}

/** A ring: a bushing from z = 0 to `length`. */
export function bushing(inner: number, outer: number, length: number): SolidShape {
  const c = Math.min(outer - inner, length) / 8;
  return revolve([
    [inner + c, 0],
    [outer - c, 0],
    [outer, c],
    [outer, length - c],
    [outer - c, length],
    [inner + c, length],
    [inner, length - c],
    [inner, c],
  ]);
}
