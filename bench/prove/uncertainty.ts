// Stated uncertainties against the truth of simulated networks.
//   npx tsx --conditions=source bench/prove/uncertainty.ts --family door --jobs 60 --length 150
// --family: good door chain ring targets, or several with commas. --jobs: how many of each. --from: number of the first.
// --length: correlation length in mm; without it 5, 30 and 150 in turn. --weigh: variants of weigh.ts, with commas.
import { parseArgs } from 'node:util';
import { makeRunContext, NETWORK_FAMILIES, type NetworkFamily, simulateNetworkOfFamily } from '@lapjoint/engine';
import { coverageOf } from './coverage.ts';
import { settleNetwork } from './estimate.ts';
import { type JobScore, SCORED, scoreNetwork } from './score.ts';
import { WEIGH_STEPS } from './weigh.ts';

const { values } = parseArgs({
  options: {
    family: { type: 'string', default: NETWORK_FAMILIES.join(',') },
    jobs: { type: 'string', default: '30' },
    from: { type: 'string', default: '0' },
    length: { type: 'string' },
    weigh: { type: 'string', default: Object.keys(WEIGH_STEPS).join(',') },
    seed: { type: 'string', default: '1' },
  },
});
const variants = values.weigh.split(',');
for (const family of values.family.split(',') as NetworkFamily[]) {
  const scores = new Map<string, JobScore[]>(variants.map((variant) => [variant, []]));
  const time = { simulate: 0, settle: 0, weigh: 0 };
  let rounds = 0;
  let unsettled = 0;
  // Processor time: other programs do not count.
  const clock = (): number => {
    const { user, system } = process.cpuUsage();
    return (user + system) / 1000;
  };
  for (let k = 0; k < Number(values.jobs); k++) {
    const context = makeRunContext({ seed: Number(values.seed) });
    const start = clock();
    const length = values.length === undefined ? null : Number(values.length);
    const network = simulateNetworkOfFamily(family, Number(values.from) + k, length, context);
    const simulated = clock();
    const settled = await settleNetwork(network.data, context);
    const ready = clock();
    rounds += settled.rounds;
    if (!settled.isSettled) unsettled++;
    for (const variant of variants) {
      const weigh = WEIGH_STEPS[variant];
      if (!weigh) throw new Error(`No weigh step ${variant}; there are ${Object.keys(WEIGH_STEPS).join(', ')}.`);
      scores.get(variant)?.push(scoreNetwork(network, await weigh(settled, context)));
    }
    time.simulate += simulated - start;
    time.settle += ready - simulated;
    time.weigh += clock() - ready;
  }
  const perJob = (ms: number): string => `${(ms / Number(values.jobs)).toFixed(0)} ms`;
  process.stdout.write(
    `\n${family}, ${values.jobs} jobs, length ${values.length ?? '5/30/150'}; per job: simulate ${perJob(time.simulate)}, settle ${perJob(time.settle)} (${(rounds / Number(values.jobs)).toFixed(1)} rounds${unsettled > 0 ? `, ${unsettled} not settled` : ''}), weigh ${perJob(time.weigh)}\n`,
  );
  process.stdout.write(
    'variant      what            95 % region held the truth      mean sq/dof  median error/u  median u mm\n',
  );
  for (const [variant, list] of scores) {
    for (const kind of SCORED) {
      const c = coverageOf(list, kind);
      if (!c) continue;
      const percent = (x: number): string => (100 * x).toFixed(1).padStart(5);
      process.stdout.write(
        `${variant.padEnd(12)} ${kind.padEnd(14)} ${percent(c.share)} % (${percent(c.from)} to ${percent(c.to)}) of ${String(c.count).padStart(6)} ${c.meanSquare.toPrecision(3).padStart(9)} ${c.medianRatio.toPrecision(3).padStart(10)} ${c.medianStated.toPrecision(3).padStart(12)}\n`,
      );
    }
  }
}
