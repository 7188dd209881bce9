// Fails when an import breaks the table in architecture.mjs, or when fewer modules were looked at than exist.
import { readdirSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { cruise } from 'dependency-cruiser';
import extractTSConfig from 'dependency-cruiser/config-utl/extract-ts-config';
import { PACKAGES } from './architecture.mjs';
import { root } from './install.mjs';

process.chdir(root);
const { forbidden, options } = createRequire(import.meta.url)('../.dependency-cruiser.cjs');
const folders = Object.keys(PACKAGES).map((name) => `packages/${name}/src`);
const sources = folders.flatMap((folder) =>
  readdirSync(folder, { recursive: true })
    .map(String)
    .filter((file) => file.endsWith('.ts') && !file.startsWith('assembly'))
    .map((file) => join(folder, file)),
);
const result = await cruise(folders, { ...options, ruleSet: { forbidden }, validate: true }, undefined, {
  tsConfig: extractTSConfig('tsconfig.base.json'),
});
const { modules, summary } = result.output;
const seen = new Set(modules.map((module) => module.source));
const missed = sources.filter((file) => !seen.has(file));
for (const violation of summary.violations) {
  process.stderr.write(`${violation.rule.name}: ${violation.from} -> ${violation.to}\n`);
}
for (const file of missed) process.stderr.write(`not looked at: ${file}\n`);
process.stdout.write(`${sources.length} modules, ${summary.violations.length} violations\n`);
process.exit(summary.violations.length > 0 || missed.length > 0 ? 1 : 0);
