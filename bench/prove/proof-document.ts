// docs/proofs/uncertainty.md: the figures of the long run.
import { NETWORK_CORRELATION_LENGTHS, NETWORK_FAMILIES, type NetworkFamily } from '@lapjoint/engine';
import { type Coverage, coverageOf, scoresOf } from './coverage.ts';
import type { ProofResult } from './run-jobs.ts';
import { SCORED, type Scored } from './score.ts';

const FAMILY_WORDS: Readonly<Record<NetworkFamily, string>> = {
  good: 'good network',
  door: 'small overlap at one door',
  chain: 'long chain',
  ring: 'ring',
  targets: 'targets only',
  mixed: 'mixed with probe',
};

const SCORED_WORDS: Readonly<Record<Scored, string>> = {
  poses: 'poses of frames',
  points: 'points',
  distances: 'distances between frames',
  ownDistances: 'distances within a frame',
};

const percent = (x: number): string => `${(100 * x).toFixed(1)}`;

function cell(c: Coverage | null): string {
  return c === null ? '' : `${percent(c.share)} (${percent(c.from)} to ${percent(c.to)})`;
}

export function proofDocument(results: readonly ProofResult[], seed: number): string {
  const families = NETWORK_FAMILIES.filter((family) => results.some(({ job }) => job.family === family));
  const refused = results.filter(({ refusal }) => refusal !== null);
  const loose = results.filter(({ isSettled }) => !isSettled);
  const lines = [
    '# Proof: stated uncertainties against the truth',
    '',
    `${results.length} simulated jobs, ${new Date().toISOString().slice(0, 10)}, seed ${seed}; made by \`npm run prove -- uncertainty\`, the same figures at every run.`,
    '',
    'Every job has a known truth. Scans have noise along the normal, half of its variance independent from point to point, half a',
    'normal field with correlation length 5, 30 or 150 mm (in turn, not told to the tool; the sheet says that errors hang together',
    'over at most 150 to 190 mm). Every instrument has a scale error, every session a temperature error, the material an error of',
    'its expansion coefficient, each drawn from the standard uncertainty that the tool is told. Frames start three noise levels',
    'off (the search for first poses is proven elsewhere), then everything is as in `align`.',
    '',
    'Counted: how often the stated 95 % region (chi-square quantile of the stated covariance: six numbers for the pose of a frame,',
    'three for a point, one for a distance) held the truth. Points are spread over all that a session captured, its far end',
    'too. In brackets the 95 % interval of the share: things of one job hang together, so jobs are counted, not things. "Plain',
    'Hessian": what the inverse normal matrix of the same overlaps times the residual variance claims, every correspondence an',
    'observation of its own and nothing known of scale.',
    '',
    '| family | what | jobs | things | stated: % held | mean square | plain Hessian: % held | median stated u, mm |',
    '| --- | --- | --- | --- | --- | --- | --- | --- |',
  ];
  for (const family of [...families, null]) {
    for (const kind of SCORED) {
      const stated = coverageOf(scoresOf(results, 'stated', family, null), kind);
      const plain = coverageOf(scoresOf(results, 'hessian', family, null), kind);
      if (stated === null) continue;
      const name = family === null ? '**all**' : FAMILY_WORDS[family];
      lines.push(
        `| ${name} | ${SCORED_WORDS[kind]} | ${stated.jobCount} | ${stated.count} | ${cell(stated)} | ${stated.meanSquare.toFixed(2)} | ${plain === null ? '' : percent(plain.share)} | ${stated.medianStated.toPrecision(2)} |`,
      );
    }
  }
  lines.push(
    '',
    'Mean square: squared error in units of the stated covariance, over its degrees of freedom; 1 when the covariance is true.',
    'Distances within a frame have no error that a pose could have; the plain Hessian says zero for them.',
    '',
    '## By correlation length: poses, % held',
    '',
    `| family | ${NETWORK_CORRELATION_LENGTHS.map((length) => `${length} mm | mean square`).join(' | ')} |`,
    `| --- |${NETWORK_CORRELATION_LENGTHS.map(() => ' --- | --- |').join('')}`,
  );
  for (const family of families) {
    const cells = NETWORK_CORRELATION_LENGTHS.map((length) => {
      const c = coverageOf(scoresOf(results, 'stated', family, length), 'poses');
      return c === null ? ' | ' : `${cell(c)} | ${c.meanSquare.toFixed(2)}`;
    });
    lines.push(`| ${FAMILY_WORDS[family]} | ${cells.join(' | ')} |`);
  }
  lines.push(
    '',
    `Refused by the tool (a frame that nothing holds well enough): ${refused.length} jobs. Still moving by more than a hundredth of the noise after the last round: ${loose.length} jobs, counted like the others.`,
    '',
    '## The asked-for bands',
    '',
    ...bandLines(results, families),
    '',
  );
  return lines.join('\n');
}

/** In words: which of the figures lie outside of what is asked for. */
function bandLines(results: readonly ProofResult[], families: readonly NetworkFamily[]): string[] {
  const out: string[] = [
    'Asked for: 93 to 97 % of poses in each family; of points and distances 93 to 97 % pooled, no family below 90 %.',
    '',
  ];
  const judge = (name: string, c: Coverage | null, low: number, high: number): void => {
    if (c === null) return;
    const verdict =
      c.share >= low && c.share <= high
        ? 'inside'
        : c.to >= low && c.from <= high
          ? 'outside, but not for certain with so many jobs'
          : c.share > high
            ? 'outside: regions too large'
            : 'outside: regions too small';
    out.push(`- ${name}: ${percent(c.share)} %, ${verdict}.`);
  };
  for (const family of families)
    judge(`poses, ${FAMILY_WORDS[family]}`, coverageOf(scoresOf(results, 'stated', family, null), 'poses'), 0.93, 0.97);
  for (const kind of ['points', 'distances'] as const) {
    judge(`${SCORED_WORDS[kind]}, all families`, coverageOf(scoresOf(results, 'stated', null, null), kind), 0.93, 0.97);
    for (const family of families)
      judge(
        `${SCORED_WORDS[kind]}, ${FAMILY_WORDS[family]}`,
        coverageOf(scoresOf(results, 'stated', family, null), kind),
        0.9,
        1,
      );
  }
  return out;
}
