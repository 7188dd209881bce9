import {
  type AdjustableObservation,
  compose,
  IDENTITY_POSE,
  invert,
  isotropicCovariance,
  makeRandom,
  type NetworkFrame,
  type OverlapCorrelation,
  type OverlapObservation,
  type Pose,
  perturb,
  quaternionOfVector,
  type Random,
  rotate,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { inverse, Matrix } from 'ml-matrix';

/** An overlap as it was before it became a form: patches with points, normals, and the covariance of their residuals. */
export interface PatchOverlap {
  readonly tie: string;
  readonly frameA: string;
  readonly frameB: string;
  /** As measured, in the frames' own coordinates. */
  readonly pointsA: readonly Vec3[];
  readonly pointsB: readonly Vec3[];
  readonly normalsB: readonly Vec3[];
  /** Noise of the residuals, already added. */
  readonly noise: readonly number[];
  readonly covariance: Matrix;
  /** Noise that each scan brings, as factors on its own slow errors (normal numbers): n x k. */
  readonly ofA: Matrix;
  readonly ofB: Matrix;
}

export interface PatchScene {
  readonly frames: NetworkFrame[];
  readonly truth: Map<string, Pose>;
  readonly scales: Map<string, number>;
  readonly overlaps: PatchOverlap[];
  readonly observations: AdjustableObservation[];
  readonly correlations: OverlapCorrelation[];
}

/** Residual of every patch at given poses and scales (a frame's coordinates are 1 + s times the true ones about its centre). */
export function patchResiduals(
  o: PatchOverlap,
  poses: ReadonlyMap<string, Pose>,
  scaleOf: (frame: string) => number,
  centreOf: (frame: string) => Vec3,
): number[] {
  const [a, b] = [poses.get(o.frameA)!, poses.get(o.frameB)!];
  const correct = (p: Vec3, frame: string): Vec3 =>
    p.map((v, k) => centreOf(frame)[k]! + (v - centreOf(frame)[k]!) / (1 + scaleOf(frame))) as unknown as Vec3;
  return o.pointsA.map((p, i) => {
    const inJob = transformPoint(a, correct(p, o.frameA));
    const surface = transformPoint(b, correct(o.pointsB[i]!, o.frameB));
    const n = rotate(b.rotation, o.normalsB[i]!);
    return n.reduce((sum, v, k) => sum + v * (inJob[k]! - surface[k]!), 0) + o.noise[i]!;
  });
}

/** Seven-column form of an overlap at a relative pose, as its docstring says. */
function formOf(o: PatchOverlap, bFromA0: Pose, reference: Vec3): { form: OverlapObservation; rows: Matrix } {
  const count = o.pointsA.length;
  const rows = Matrix.zeros(count, 7);
  const residuals: number[] = [];
  o.pointsA.forEach((pa, i) => {
    const p = transformPoint(bFromA0, pa);
    const n = o.normalsB[i]!;
    const d = p.map((v, k) => v - reference[k]!);
    residuals.push(n.reduce((sum, v, k) => sum + v * (p[k]! - o.pointsB[i]![k]!), 0) + o.noise[i]!);
    rows.setRow(i, [
      ...n,
      d[1]! * n[2]! - d[2]! * n[1]!,
      d[2]! * n[0]! - d[0]! * n[2]!,
      d[0]! * n[1]! - d[1]! * n[0]!,
      n[0] * d[0]! + n[1] * d[1]! + n[2] * d[2]!,
    ]);
  });
  const weight = inverse(o.covariance);
  const information = rows.transpose().mmul(weight).mmul(rows);
  const r = Matrix.columnVector(residuals);
  const gradient = rows.transpose().mmul(weight).mmul(r);
  const six = rows.subMatrix(0, count - 1, 0, 5);
  const form: OverlapObservation = {
    kind: 'overlap',
    tie: o.tie,
    frameA: o.frameA,
    frameB: o.frameB,
    scanA: null,
    scanB: null,
    bFromA0,
    reference,
    information: six.transpose().mmul(six).to1DArray(),
    gradient: six.transpose().mmul(r).to1DArray(),
    sumSquares: r.transpose().mmul(r).get(0, 0),
    count,
    effectiveCount: count,
    sigma: 0.05,
    largest: Math.max(...residuals.map(Math.abs)),
    overlapShare: 0.3,
    weakDirections: [],
    weighed: {
      information: information.add(information.transpose()).mul(0.5).to1DArray(),
      gradient: gradient.to1DArray(),
      sumSquares: r.transpose().mmul(weight).mmul(r).get(0, 0),
      patchCount: count,
    },
  };
  return { form, rows: six };
}

/**
 * Frames in a ring with chords; every overlap seen as patches whose noise hangs together, partly through the scan that two
 * overlaps have in common. The forms are measured away from the truth by `offset`.
 */
export function makePatchScene(
  seed: number,
  options: {
    frameCount?: number;
    scaleOf?: (i: number) => number;
    offset?: number;
    targets?: number;
    shared?: number;
  } = {},
): PatchScene {
  const random = makeRandom(seed, 'patch-scene');
  const frameCount = options.frameCount ?? 4;
  const names = Array.from({ length: frameCount }, (_, i) => `f${i}`);
  const poses = names.map(
    (_, i): Pose =>
      i === 0
        ? IDENTITY_POSE
        : {
            rotation: quaternionOfVector([0.4 * i, -0.7 * i, 1.1 * i]),
            translation: [200 * i, -150 * i, 90 * i],
          },
  );
  const truth = new Map(names.map((n, i) => [n, poses[i]!]));
  const scales = new Map(names.map((n, i) => [n, options.scaleOf?.(i) ?? 0]));
  const ring = (i: number): Vec3 => [
    1200 * Math.cos((2 * Math.PI * i) / frameCount),
    1200 * Math.sin((2 * Math.PI * i) / frameCount),
    100 * (i % 3),
  ];
  const frames = names.map(
    (frame, i): NetworkFrame => ({
      frame,
      centre: transformPoint(invert(poses[i]!), ring(i)),
      radius: 700,
    }),
  );
  const measured = (i: number, job: Vec3): Vec3 => {
    const p = transformPoint(invert(poses[i]!), job);
    const c = frames[i]!.centre!;
    return p.map((v, k) => c[k]! + (1 + scales.get(names[i]!)!) * (v - c[k]!)) as unknown as Vec3;
  };
  const overlaps: PatchOverlap[] = [];
  const observations: AdjustableObservation[] = [];
  const rowsOf: Matrix[] = [];
  const sharedCount = 4;
  // Slow errors of each scan: the same numbers in every overlap that it takes part in as A or as B.
  const slow = names.map(() => Array.from({ length: sharedCount }, () => random.normal()));
  for (let i = 0; i < frameCount; i++) {
    const j = (i + 1) % frameCount;
    const middle = ring(i).map((v, k) => (v + ring(j)[k]!) / 2) as unknown as Vec3;
    const overlap = makePatches(
      random,
      `o${i}`,
      names[i]!,
      names[j]!,
      middle,
      options.shared ?? 0.03,
      slow[i]!,
      slow[j]!,
      {
        measureA: (p) => measured(i, p),
        measureB: (p) => measured(j, p),
        poseB: poses[j]!,
      },
    );
    overlaps.push(overlap);
    const offset = options.offset ?? 0.02;
    const centreB = transformPoint(invert(poses[j]!), middle);
    const bFromA0 = perturb(
      compose(invert(poses[j]!), poses[i]!),
      [1, -1, 0.5, 1e-3, 2e-3, -1e-3].map((v) => v * offset),
      centreB,
    );
    const { form, rows } = formOf(overlap, bFromA0, centreB);
    observations.push(form);
    rowsOf.push(rows);
  }
  const correlations: OverlapCorrelation[] = [];
  for (let i = 0; i < frameCount && (options.shared ?? 0.03) > 0; i++) {
    // Scan j is B of overlap i and A of overlap j.
    const j = (i + 1) % frameCount;
    const cross = overlaps[i]!.ofB.mmul(overlaps[j]!.ofA.transpose());
    const x = rowsOf[i]!.transpose()
      .mmul(inverse(overlaps[i]!.covariance))
      .mmul(cross)
      .mmul(inverse(overlaps[j]!.covariance))
      .mmul(rowsOf[j]!);
    correlations.push({ tieA: `o${i}`, tieB: `o${j}`, gradientCovariance: x.to1DArray() });
  }
  for (let t = 0; t < (options.targets ?? 0); t++) {
    const job: Vec3 = [random.normal() * 800, random.normal() * 800, random.normal() * 300];
    for (let i = 0; i < frameCount; i++) {
      if ((t + i) % 2 === 1) continue;
      const p = measured(i, job);
      observations.push({
        kind: 'target',
        tie: `targets ${i}`,
        frame: names[i]!,
        target: `T${t}`,
        position: p.map((v) => v + 0.05 * random.normal()) as unknown as Vec3,
        covariance: isotropicCovariance(0.05),
      });
    }
  }
  return { frames, truth, scales, overlaps, observations, correlations };
}

function makePatches(
  random: Random,
  tie: string,
  frameA: string,
  frameB: string,
  middle: Vec3,
  shared: number,
  slowA: readonly number[],
  slowB: readonly number[],
  frame: { measureA: (p: Vec3) => Vec3; measureB: (p: Vec3) => Vec3; poseB: Pose },
): PatchOverlap {
  const count = 18;
  const jobNormals: number[][] = [];
  const pointsA: Vec3[] = [];
  const pointsB: Vec3[] = [];
  const normalsB: Vec3[] = [];
  const back: Pose['rotation'] = [
    frame.poseB.rotation[0],
    -frame.poseB.rotation[1],
    -frame.poseB.rotation[2],
    -frame.poseB.rotation[3],
  ];
  for (let i = 0; i < count; i++) {
    const job = middle.map((v) => v + 500 * (random.uniform() - 0.5)) as unknown as Vec3;
    const direction = [random.normal(), random.normal(), random.normal()];
    const length = Math.hypot(...direction);
    jobNormals.push(direction.map((v) => v / length));
    pointsA.push(frame.measureA(job));
    pointsB.push(frame.measureB(job));
    normalsB.push(rotate(back, direction.map((v) => v / length) as unknown as Vec3));
  }
  // A scan's slow error: three numbers push it as a whole, the fourth bends it at random.
  const load = (sign: number): Matrix =>
    new Matrix(jobNormals.map((n) => [...n.map((v) => sign * shared * v), shared * random.normal()]));
  const [ofA, ofB] = [load(1), load(-1)];
  const white = 0.05;
  const covariance = Matrix.eye(count)
    .mul(white * white)
    .add(ofA.mmul(ofA.transpose()))
    .add(ofB.mmul(ofB.transpose()));
  const noise = ofA
    .mmul(Matrix.columnVector([...slowA]))
    .add(ofB.mmul(Matrix.columnVector([...slowB])))
    .to1DArray()
    .map((v) => v + white * random.normal());
  return { tie, frameA, frameB, pointsA, pointsB, normalsB, noise, covariance, ofA, ofB };
}
