import {
  type AdjustableObservation,
  invert,
  isotropicCovariance,
  makeRandom,
  type Pose,
  perturb,
  type Random,
  rotate,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { makeOverlap, place, randomPose } from './network-scene.ts';

/** What is planted: a target with another's number, an overlap that slid, probed points of another day; or nothing. */
export type Blunder = 'wrong-number' | 'slipped-overlap' | 'stale-probing' | 'none';

/** A network with known truth and at most one bad tie. */
export interface BlunderNetwork {
  readonly observations: readonly AdjustableObservation[];
  /** Poses to start from, some millimetres off. */
  readonly start: ReadonlyMap<string, Pose>;
  /** The bad tie; null for none. */
  readonly bad: string | null;
  /** Ties that no network of this shape could tell from it. */
  readonly alike: readonly string[];
  /** For a wrong number: how the tests name the sighting. */
  readonly sighting: string | null;
}

interface Edge {
  readonly tie: string;
  readonly a: string;
  readonly b: string;
}

const SIGMA_OVERLAP = 0.05;
const SIGMA_TARGET = 0.03;
const SIGMA_PROBE = 0.04;

const between = (random: Random, low: number, high: number): number => low + (high - low) * random.uniform();

function direction(random: Random, length: number): number[] {
  const v = [random.normal(), random.normal(), random.normal()];
  const norm = Math.hypot(...v);
  return v.map((x) => (x * length) / norm);
}

/** Parts that a graph falls into without some of its edges. */
function partCount(frames: readonly string[], edges: readonly Edge[], without: readonly string[]): number {
  const part = new Map(frames.map((f) => [f, f]));
  const root = (f: string): string => (part.get(f) === f ? f : root(part.get(f)!));
  for (const { tie, a, b } of edges) if (!without.includes(tie)) part.set(root(a), root(b));
  return frames.filter((f) => root(f) === f).length;
}

/** Ties that close the same loops as one of them: taking both away cuts the network, taking one does not. */
function alikeTies(frames: readonly string[], edges: readonly Edge[], tie: string): string[] {
  return edges.map((e) => e.tie).filter((other) => other !== tie && partCount(frames, edges, [tie, other]) > 1);
}

/**
 * A job of 5 to 7 frames: overlaps in a ring with some chords, a frame of probed points on the surfaces of two to four others, and
 * targets seen from two to four frames.
 */
export function makeBlunderNetwork(seed: number, kind: Blunder): BlunderNetwork {
  const random = makeRandom(seed, `blunder ${kind}`);
  const count = 4 + random.integer(3);
  const frames = Array.from({ length: count }, (_, i) => `scan-${i + 1}`);
  const poses = new Map(frames.map((f): [string, Pose] => [f, randomPose(random, 2000)]));
  poses.set('probe', randomPose(random, 2000));
  const centreOf = (i: number): Vec3 => [
    1200 * Math.cos((2 * Math.PI * i) / count),
    1200 * Math.sin((2 * Math.PI * i) / count),
    between(random, -300, 300),
  ];
  const edges: Edge[] = frames.map((a, i) => {
    const b = frames[(i + 1) % count]!;
    return { tie: `overlap ${a} ${b}`, a, b };
  });
  for (let chord = random.integer(3); chord > 0; chord--) {
    const i = random.integer(count);
    const j = (i + 2 + random.integer(Math.max(1, count - 3))) % count;
    const tie = `overlap ${frames[i]} ${frames[j]}`;
    if (i !== j && !edges.some((e) => e.tie === tie)) edges.push({ tie, a: frames[i]!, b: frames[j]! });
  }
  const probed: Edge[] = [];
  for (const i of shuffled(random, count).slice(0, 2 + random.integer(3))) {
    probed.push({ tie: `probed ${frames[i]}`, a: 'probe', b: frames[i]! });
  }
  const all = [...frames, 'probe'];
  const graph = [...edges, ...probed];
  // What is planted, and where.
  const targets = kind === 'wrong-number';
  const choices = kind === 'slipped-overlap' ? edges : probed;
  const badTie =
    kind === 'slipped-overlap' || kind === 'stale-probing' ? choices[random.integer(choices.length)]!.tie : null;
  const observations: AdjustableObservation[] = [];
  edges.forEach(({ tie, a, b }, i) => {
    const isBad = tie === badTie;
    const overlap = makeOverlap(random, {
      tie,
      frameA: a,
      frameB: b,
      jobFromA: poses.get(a)!,
      jobFromB: poses.get(b)!,
      centre: centreOf(i + 0.5),
      size: 500,
      sigma: SIGMA_OVERLAP,
    });
    // Slid by some millimetres and turned by some hundredths of a degree: what a wrong minimum does.
    const slip = [...direction(random, between(random, 0.5, 8)), ...direction(random, between(random, 0, 1e-3))];
    observations.push(isBad ? { ...overlap, bFromA0: perturb(overlap.bFromA0, slip, overlap.reference) } : overlap);
  });
  probed.forEach(({ tie, b }, i) => {
    const centre = centreOf(i);
    // Of another day: the part stood elsewhere, or the reference had been knocked.
    const motion = [...direction(random, between(random, 0.5, 5)), ...direction(random, between(random, 0, 8e-3))];
    const moved = perturb({ rotation: [1, 0, 0, 0], translation: [0, 0, 0] }, motion, centre);
    const [poseP, poseB] = [poses.get('probe')!, poses.get(b)!];
    for (let k = 0; k < 15; k++) {
      const at = place(random, 500).map((v, c) => v + centre[c]!) as unknown as Vec3;
      const n = direction(random, 1) as unknown as Vec3;
      const height = SIGMA_PROBE * random.normal();
      const touched = at.map((v, c) => v + height * n[c]!) as unknown as Vec3;
      const inverseB = invert(poseB);
      observations.push({
        kind: 'probe',
        tie,
        frameA: 'probe',
        point: transformPoint(invert(poseP), tie === badTie ? transformPoint(moved, touched) : touched),
        frameB: b,
        surfacePoint: transformPoint(inverseB, at),
        normal: rotate(inverseB.rotation, n),
        sigma: SIGMA_PROBE,
      });
    }
  });
  let sighting: string | null = null;
  let alike: string[] = badTie === null ? [] : alikeTies(all, graph, badTie);
  let bad = badTie;
  // Targets tie frames to each other too: without them the overlaps and probed surfaces are the whole graph.
  const places = Array.from({ length: targets || kind === 'none' ? 8 : 0 }, () => place(random, 2400));
  places.forEach((job, t) => {
    const seen = shuffled(random, count).slice(0, 2 + random.integer(3));
    const isBad = targets && t === 0;
    seen.forEach((i, k) => {
      const frame = frames[i]!;
      // The number of a neighbour that this frame did not see: centimetres to decimetres away.
      const shown = isBad && k === 0 ? direction(random, between(random, 15, 200)).map((v, c) => v + job[c]!) : job;
      observations.push({
        kind: 'target',
        tie: `targets ${frame}`,
        frame,
        target: `T${t}`,
        position: transformPoint(invert(poses.get(frame)!), shown as unknown as Vec3).map(
          (v) => v + SIGMA_TARGET * random.normal(),
        ) as unknown as Vec3,
        covariance: isotropicCovariance(SIGMA_TARGET),
      });
    });
    if (isBad) {
      bad = `targets ${frames[seen[0]!]}`;
      sighting = `target T0 in ${frames[seen[0]!]}`;
      // Two sightings: each says that the other is wrong.
      alike = seen.length === 2 ? [`targets ${frames[seen[1]!]}`] : [];
    }
  });
  const start = new Map(
    [...poses].map(([frame, pose]) => [
      frame,
      perturb(pose, [...direction(random, 5), ...direction(random, 0.002)], [0, 0, 0]),
    ]),
  );
  return { observations, start, bad, alike, sighting };
}

function shuffled(random: Random, count: number): number[] {
  const order = Array.from({ length: count }, (_, i) => i);
  for (let i = count - 1; i > 0; i--) {
    const j = random.integer(i + 1);
    [order[i], order[j]] = [order[j]!, order[i]!];
  }
  return order;
}
