import { defineConfig } from 'vitest/config';

const lane = process.env['LANE'] ?? 'fast';
const lanes: Record<string, { include: string[]; exclude: string[] }> = {
  fast: {
    include: ['packages/*/test/**/*.test.ts', 'tests/**/*.test.ts'],
    exclude: ['**/*.slow.test.ts', '**/*.montecarlo.test.ts'],
  },
  slow: {
    include: ['packages/*/test/**/*.slow.test.ts', 'tests/**/*.slow.test.ts', '**/*.montecarlo.test.ts'],
    exclude: [],
  },
  all: { include: ['packages/*/test/**/*.test.ts', 'tests/**/*.test.ts'], exclude: [] },
};
const chosen = lanes[lane];
if (!chosen) throw new Error(`LANE is one of ${Object.keys(lanes).join(', ')}`);

export default defineConfig({
  resolve: { conditions: ['source'] },
  ssr: { resolve: { conditions: ['source'] } },
  test: {
    include: chosen.include,
    exclude: ['**/node_modules/**', '**/dist/**', ...chosen.exclude],
    testTimeout: 120_000,
    hookTimeout: 120_000,
    pool: 'forks',
    maxWorkers: 2,
    reporters: ['default', './tools/ci-line-reporter.ts'],
  },
});
