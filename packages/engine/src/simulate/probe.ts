import type { RunContext } from '../base/index.ts';
import { add, cross, normalize, scale, type Vec3 } from '../math/index.ts';
import type { ProbedPoint } from '../model/index.ts';

/** A place to touch: contact point on the surface and outward normal, mm. */
export interface ProbeContact {
  readonly position: Vec3;
  readonly normal: Vec3;
}

/** A feature to be probed. */
export interface ProbeFeature {
  readonly name: string;
  readonly contacts: readonly ProbeContact[];
}

/** A touch probe. `sigma`: standard deviation of each coordinate of the tip's centre, mm. */
export interface TouchProbe {
  readonly tipRadius: number;
  readonly sigma: number;
}

/** Contacts round a cylinder seen from outside, on circles at the given distances along its axis. */
export function cylinderContacts(
  start: Vec3,
  axis: Vec3,
  radius: number,
  along: readonly number[],
  around: number,
): ProbeContact[] {
  const direction = normalize(axis);
  const u = normalize(cross(direction, Math.abs(direction[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0]));
  const v = cross(direction, u);
  return along.flatMap((s, k) =>
    Array.from({ length: around }, (_, i) => {
      const angle = (2 * Math.PI * (i + 0.5 * k)) / around;
      const normal = add(scale(u, Math.cos(angle)), scale(v, Math.sin(angle)));
      return { position: add(add(start, scale(direction, s)), scale(normal, radius)), normal };
    }),
  );
}

/**
 * Touches features: gives the centres of the tip, one tip radius off the surface along its normal, with noise.
 *
 * Units    mm. `approach` is the direction of the touch, against the surface normal, tilted by a few degrees as by hand.
 */
export function probeFeatures(
  features: readonly ProbeFeature[],
  probe: TouchProbe,
  name: string,
  context: RunContext,
): ProbedPoint[] {
  const random = context.random(name);
  return features.flatMap((feature) =>
    feature.contacts.map(({ position, normal }) => {
      const noise: Vec3 = [random.normal(), random.normal(), random.normal()];
      const tilt: Vec3 = [random.normal(), random.normal(), random.normal()];
      return {
        feature: feature.name,
        position: add(add(position, scale(normal, probe.tipRadius)), scale(noise, probe.sigma)),
        approach: normalize(add(scale(normal, -1), scale(tilt, 0.04))),
        tipRadius: probe.tipRadius,
        sigma: probe.sigma,
      };
    }),
  );
}
