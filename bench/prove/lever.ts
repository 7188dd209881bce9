// The lever arm: a cabin held around its door, what is stated at the far end of the inside and what it does.
//   node --conditions=source --import tsx bench/prove/lever.ts --repeats 100 [--length 30]
import { parseArgs } from 'node:util';
import { makeRunContext, NETWORK_CORRELATION_LENGTHS, simulateLeverNetwork } from '@lapjoint/engine';
import { mean } from './coverage.ts';
import { answerOf, settleNetwork } from './estimate.ts';
import { scoreNetwork } from './score.ts';

const { values } = parseArgs({
  options: {
    repeats: { type: 'string', default: '100' },
    length: { type: 'string' },
    patch: { type: 'string', default: '300' },
    /** Scale and temperature as unknowns held by their sigma, instead of counted in the covariance alone. */
    estimated: { type: 'boolean', default: false },
  },
});
const lengths = values.length === undefined ? NETWORK_CORRELATION_LENGTHS : [Number(values.length)];
process.stdout.write(
  '| correlation length, mm | tied | stated U, mm | first job alone | simulated, mm | stated / simulated |\n| --- | --- | --- | --- | --- | --- |\n',
);
for (const length of lengths) {
  for (const patch of [0, Number(values.patch)]) {
    const stated: number[] = [];
    const actual: number[] = [];
    for (let k = 0; k < Number(values.repeats); k++) {
      const context = makeRunContext();
      const network = simulateLeverNetwork(k, length, patch, context);
      const scaleTerms = network.data.scaleTerms.map((term) => ({ ...term, isEstimated: values.estimated }));
      const settled = await settleNetwork({ ...network.data, scaleTerms }, context);
      const { points } = scoreNetwork(network, answerOf(settled.adjustment));
      stated.push(points.stated[0]);
      actual.push(points.stated[0] * points.ratio[0]);
    }
    // k = 2, all three directions together: twice the root of the mean square.
    const twice = (x: readonly number[]): number => 2 * Math.sqrt(mean(x.map((v) => v * v)));
    const tied = patch === 0 ? 'around the door' : `and a patch of ${patch} x ${patch} at the back`;
    process.stdout.write(
      `| ${length} | ${tied} | ${twice(stated).toFixed(3)} | ${(2 * stated[0]).toFixed(3)} | ${twice(actual).toFixed(3)} | ${(twice(stated) / twice(actual)).toFixed(2)} |\n`,
    );
  }
}
