// Processor time of one complete adjustment with all covariances: npx tsx --conditions=source bench/adjust-network.ts
import {
  type AdjustableObservation,
  adjustNetwork,
  compose,
  invert,
  isotropicCovariance,
  makeRandom,
  makeRunContext,
  type OverlapCorrelation,
  type Pose,
  perturb,
  quaternionOfVector,
  type Random,
  rotate,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';

interface Job {
  readonly observations: AdjustableObservation[];
  readonly correlations: OverlapCorrelation[];
  readonly coefficients: Map<string, number>;
}

const symmetric = (size: number, rows: readonly (readonly number[])[], weight: number): number[] =>
  Array.from({ length: size * size }, (_, k) =>
    rows.reduce((sum, row) => sum + weight * (row[Math.floor(k / size)] as number) * (row[k % size] as number), 0),
  );

function makeOverlap(
  random: Random,
  tie: string,
  names: readonly [string, string],
  poses: readonly [Pose, Pose],
): AdjustableObservation {
  const [jobFromA, jobFromB] = poses;
  const reference: Vec3 = [random.normal() * 500, random.normal() * 500, random.normal() * 200];
  const rows: number[][] = [];
  const residuals: number[] = [];
  for (let i = 0; i < 60; i++) {
    const n = [random.normal(), random.normal(), random.normal()];
    const length = Math.hypot(...n);
    const [x, y, z] = n.map((v) => v / length) as [number, number, number];
    const [a, b, c] = [random.normal() * 200, random.normal() * 200, random.normal() * 200];
    rows.push([x, y, z, b * z - c * y, c * x - a * z, a * y - b * x, x * a + y * b + z * c]);
    residuals.push(0.05 * random.normal());
  }
  const weight = 1 / 0.05 ** 2;
  const gradient = Array.from({ length: 7 }, (_, k) =>
    rows.reduce((sum, row, i) => sum + (row[k] as number) * (residuals[i] as number), 0),
  );
  const six = rows.map((row) => row.slice(0, 6));
  const bFromA = compose(invert(jobFromB), jobFromA);
  return {
    kind: 'overlap',
    tie,
    frameA: names[0],
    frameB: names[1],
    scanA: null,
    scanB: null,
    bFromA0: perturb(bFromA, [0.02, -0.03, 0.01, 1e-5, -1e-5, 2e-5], reference),
    reference,
    information: symmetric(6, six, 1),
    gradient: gradient.slice(0, 6),
    sumSquares: residuals.reduce((sum, r) => sum + r * r, 0),
    count: 60,
    effectiveCount: 60,
    sigma: 0.05,
    largest: 0.2,
    overlapShare: 0.3,
    weakDirections: [],
    weighed: {
      information: symmetric(7, rows, weight),
      gradient: gradient.map((g) => g * weight),
      sumSquares: weight * residuals.reduce((sum, r) => sum + r * r, 0),
      patchCount: 60,
    },
  };
}

function makeJob(frames: number, overlaps: number, targets: number, probes: number): Job {
  const random = makeRandom(1, `bench ${frames}`);
  const names = Array.from({ length: frames }, (_, i) => `scan ${i}`);
  const poses = names.map(
    (_, i): Pose => ({
      rotation: quaternionOfVector([random.normal() * (i && 0.5), random.normal() * (i && 0.5), i]),
      translation: [300 * i, i && random.normal() * 500, i && random.normal() * 500],
    }),
  );
  const pose = (i: number): Pose => poses[i] as Pose;
  const name = (i: number): string => names[i] as string;
  const observations: AdjustableObservation[] = [];
  const pairs: [number, number][] = [];
  for (let k = 0; k < overlaps; k++) {
    // Neighbours along the object first, then over larger and larger gaps.
    const step = 1 + Math.floor(k / frames);
    const i = k % frames;
    const j = (i + step) % frames;
    pairs.push([i, j]);
    observations.push(makeOverlap(random, `overlap ${k}`, [name(i), name(j)], [pose(i), pose(j)]));
  }
  for (let t = 0; t < targets; t++) {
    const at = Math.floor(random.uniform() * frames);
    const job: Vec3 = [300 * at + random.normal() * 400, random.normal() * 400, random.normal() * 400];
    for (let seen = 0; seen < 4; seen++) {
      const i = (at + seen) % frames;
      const p = transformPoint(invert(pose(i)), job).map((v) => v + 0.03 * random.normal()) as unknown as Vec3;
      observations.push({
        kind: 'target',
        tie: `targets ${i}`,
        frame: name(i),
        target: `T${t}`,
        position: p,
        covariance: isotropicCovariance(0.03),
      });
    }
  }
  for (let k = 0; k < probes; k++) {
    const i = Math.floor(random.uniform() * frames);
    const j = (i + 1 + Math.floor(random.uniform() * 3)) % frames;
    const job: Vec3 = [300 * i + random.normal() * 400, random.normal() * 400, random.normal() * 400];
    const n = [random.normal(), random.normal(), random.normal()];
    const length = Math.hypot(...n);
    const back = invert(pose(j));
    const normal = rotate(back.rotation, n.map((v) => v / length) as unknown as Vec3);
    const surface = transformPoint(back, job);
    observations.push({
      kind: 'probe',
      tie: `probe ${i}`,
      frameA: name(i),
      frameB: name(j),
      point: transformPoint(invert(pose(i)), job),
      surfacePoint: surface.map((v, m) => v + 0.05 * random.normal() * (normal[m] as number)) as unknown as Vec3,
      normal,
      sigma: 0.05,
    });
  }
  const correlations: OverlapCorrelation[] = [];
  const byFrame = new Map<number, number[]>();
  pairs.forEach(([i, j], k) => {
    for (const f of [i, j]) byFrame.set(f, [...(byFrame.get(f) ?? []), k]);
  });
  for (const own of byFrame.values()) {
    own.forEach((a, n) => {
      for (const b of own.slice(n + 1)) {
        const gradientCovariance = Array.from({ length: 36 }, (_, e) => (e % 7 === 0 ? (e < 21 ? 200 : 2e6) : 0));
        correlations.push({ tieA: `overlap ${a}`, tieB: `overlap ${b}`, gradientCovariance });
      }
    });
  }
  return { observations, correlations, coefficients: new Map(names.map((n, i) => [n, i % 2])) };
}

async function measure(
  frames: number,
  overlaps: number,
  targets: number,
  probes: number,
  judge: boolean,
): Promise<string> {
  const job = makeJob(frames, overlaps, targets, probes);
  const times: number[] = [];
  let note = '';
  for (let run = 0; run < (frames > 100 ? 2 : 4); run++) {
    const start = process.cpuUsage();
    const result = await adjustNetwork(
      job.observations,
      {
        correlations: job.correlations,
        scaleTerms: [{ name: 'instrument', sigma: 2e-5, coefficients: job.coefficients, isEstimated: false }],
        ...(judge ? {} : { judge: null }),
      },
      makeRunContext(),
    );
    const used = process.cpuUsage(start);
    times.push((used.user + used.system) / 1000);
    note = `${result.iterations} iterations, ${result.frames.filter((f) => f.status !== 'refused').length} placed`;
  }
  const row = [frames, overlaps, targets, probes, job.correlations.length, judge ? 'with' : 'without'];
  return `| ${row.join(' | ')} | ${Math.round(times[0] as number)} | ${Math.round(Math.min(...times))} | ${note} |`;
}

console.log('| frames | overlaps | targets | probed | correlations | tie tests | first, CPU ms | best, CPU ms | |');
console.log('| --- | --- | --- | --- | --- | --- | --- | --- | --- |');
for (const [frames, overlaps, targets, probes] of [
  [10, 30, 20, 40],
  [50, 300, 100, 200],
  [200, 2000, 400, 800],
] as const) {
  for (const judge of [false, true]) console.log(await measure(frames, overlaps, targets, probes, judge));
}
