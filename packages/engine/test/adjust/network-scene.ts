import {
  compose,
  invert,
  isotropicCovariance,
  makeRandom,
  type NetworkObservation,
  type OverlapObservation,
  type Pose,
  perturb,
  quaternionOfVector,
  type Random,
  rotate,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';

/** A job with known truth: frames, targets, and the ties an ideal registration would make of them. */
export interface NetworkScene {
  readonly frames: string[];
  readonly jobFromFrame: Map<string, Pose>;
  readonly observations: NetworkObservation[];
}

export function randomPose(random: Random, shift: number): Pose {
  return {
    rotation: quaternionOfVector([random.normal() * 2, random.normal() * 2, random.normal() * 2]),
    translation: [random.normal() * shift, random.normal() * shift, random.normal() * shift],
  };
}

export const place = (random: Random, size: number): Vec3 => [
  (random.uniform() - 0.5) * size,
  (random.uniform() - 0.5) * size,
  (random.uniform() - 0.5) * size,
];

/** A patch of surface seen twice, reduced to its quadratic form: noise in the distances, none in the normals. */
export function makeOverlap(
  random: Random,
  options: {
    tie: string;
    frameA: string;
    frameB: string;
    jobFromA: Pose;
    jobFromB: Pose;
    centre: Vec3;
    size: number;
    sigma: number;
    count?: number;
    normals?: 'any' | 'plane';
    offset?: number[];
  },
): OverlapObservation {
  const { jobFromA, jobFromB, sigma } = options;
  const count = options.count ?? 60;
  const bFromATrue = compose(invert(jobFromB), jobFromA);
  const reference = transformPoint(invert(jobFromB), options.centre);
  const bFromA0 = perturb(bFromATrue, options.offset ?? [0.1, -0.2, 0.15, 1e-6, -2e-6, 1e-6], reference);
  const information = new Array<number>(36).fill(0);
  const gradient = new Array<number>(6).fill(0);
  let sumSquares = 0;
  let largest = 0;
  for (let i = 0; i < count; i++) {
    const job = place(random, options.size).map((v, k) => v + options.centre[k]!) as unknown as Vec3;
    const direction: Vec3 =
      options.normals === 'plane' ? [0, 0, 1] : [random.normal(), random.normal(), random.normal()];
    const length = Math.hypot(...direction);
    const flat = options.normals === 'plane' ? ([job[0], job[1], options.centre[2]] as Vec3) : job;
    const q = transformPoint(invert(jobFromB), flat);
    const pose = jobFromB.rotation;
    const n = rotate([pose[0], -pose[1], -pose[2], -pose[3]], direction).map((v) => v / length);
    // The point of A that is the same place, put into B with the start pose.
    const p = transformPoint(bFromA0, transformPoint(invert(bFromATrue), q));
    const r = n.reduce((sum, v, k) => sum + v * (p[k]! - q[k]!), 0) + sigma * random.normal();
    const a = p.map((v, k) => v - reference[k]!);
    const row = [
      n[0]!,
      n[1]!,
      n[2]!,
      a[1]! * n[2]! - a[2]! * n[1]!,
      a[2]! * n[0]! - a[0]! * n[2]!,
      a[0]! * n[1]! - a[1]! * n[0]!,
    ];
    for (let k = 0; k < 6; k++) {
      gradient[k]! += row[k]! * r;
      for (let l = 0; l < 6; l++) information[6 * k + l]! += row[k]! * row[l]!;
    }
    sumSquares += r * r;
    largest = Math.max(largest, Math.abs(r));
  }
  return {
    kind: 'overlap',
    tie: options.tie,
    frameA: options.frameA,
    frameB: options.frameB,
    scanA: null,
    scanB: null,
    bFromA0,
    reference,
    information,
    gradient,
    sumSquares,
    count,
    effectiveCount: count,
    sigma,
    largest,
    overlapShare: 0.2,
    weakDirections: [],
    weighed: null,
  };
}

/** Frames in a ring, targets seen by two or three neighbours, a pair tie and overlaps: everything the adjustment knows. */
export function makeMixedScene(seed: number, frameCount: number, noise = 1): NetworkScene {
  const random = makeRandom(seed, 'network-scene');
  const frames = Array.from({ length: frameCount }, (_, i) => `scan ${i + 1}`);
  const jobFromFrame = new Map(
    frames.map((f, i) => [
      f,
      i === 0 ? { rotation: [1, 0, 0, 0] as const, translation: [0, 0, 0] as Vec3 } : randomPose(random, 3000),
    ]),
  );
  const observations: NetworkObservation[] = [];
  const pose = (i: number): Pose => jobFromFrame.get(frames[i % frameCount]!) as Pose;
  const add = (p: Vec3, s: number): Vec3 => [
    p[0] + s * noise * random.normal(),
    p[1] + s * noise * random.normal(),
    p[2] + s * noise * random.normal(),
  ];
  for (let i = 0; i < frameCount; i++) {
    const frame = frames[i]!;
    const centre: Vec3 = [
      1500 * Math.cos((2 * Math.PI * i) / frameCount),
      1500 * Math.sin((2 * Math.PI * i) / frameCount),
      200,
    ];
    for (let t = 0; t < 4; t++) {
      const job = place(random, 800).map((v, k) => v + centre[k]!) as unknown as Vec3;
      for (let seen = 0; seen < (t === 0 ? 3 : 2); seen++) {
        const other = frames[(i + seen) % frameCount]!;
        const sigma = 0.02 + 0.03 * random.uniform();
        observations.push({
          kind: 'target',
          tie: `targets ${frame}`,
          frame: other,
          target: `${frame} T${t}`,
          position: add(transformPoint(invert(pose(i + seen)), job), sigma),
          covariance:
            t === 1
              ? [sigma ** 2 * 2, sigma ** 2 * 0.5, 0, sigma ** 2 * 0.5, sigma ** 2, 0, 0, 0, sigma ** 2]
              : isotropicCovariance(sigma),
        });
      }
    }
    if (i % 2 === 0) {
      observations.push(
        makeOverlap(random, {
          tie: `overlap ${i}`,
          frameA: frame,
          frameB: frames[(i + 1) % frameCount]!,
          jobFromA: pose(i),
          jobFromB: pose(i + 1),
          centre,
          size: 500,
          sigma: 0.05 * noise || 0.05,
        }),
      );
    } else {
      for (let p = 0; p < 2; p++) {
        const job = place(random, 800).map((v, k) => v + centre[k]!) as unknown as Vec3;
        observations.push({
          kind: 'pair',
          tie: `picks ${i}`,
          frameA: frame,
          frameB: frames[(i + 1) % frameCount]!,
          a: add(transformPoint(invert(pose(i)), job), 0.15),
          b: add(transformPoint(invert(pose(i + 1)), job), 0.15),
          sigma: 0.15 * Math.SQRT2,
        });
      }
    }
  }
  return { frames, jobFromFrame, observations };
}
