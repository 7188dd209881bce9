// Compiles the AssemblyScript kernels to WebAssembly and writes them, as base64, into a module that git ignores.
// Quick and silent when nothing changed. Usage: node tools/build-kernels.mjs [--force] [--text]
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = join(dirname(fileURLToPath(import.meta.url)), '..');
const kernels = join(root, 'packages', 'kernels', 'src');
const sources = join(kernels, 'assembly');
const target = join(kernels, 'generated', 'kernels-wasm.ts');

const options = [
  'index.ts',
  '--baseDir',
  sources,
  '--outFile',
  'kernels.wasm',
  '--textFile',
  'kernels.wat',
  '--runtime',
  'stub',
  '--importMemory',
  '--sharedMemory',
  '--initialMemory',
  '1',
  '--maximumMemory',
  '65536',
  '--enable',
  'simd',
  '--enable',
  'threads',
  '--noAssert',
  '--use',
  'abort=',
  '-O3',
  '--converge',
];

const hash = createHash('sha256');
hash.update(JSON.stringify([options, readFileSync(fileURLToPath(import.meta.url), 'utf8')]));
for (const name of readdirSync(sources).sort()) hash.update(name).update(readFileSync(join(sources, name)));
const version = JSON.parse(readFileSync(join(root, 'node_modules', 'assemblyscript', 'package.json'), 'utf8')).version;
const stamp = `// Sources ${hash.update(version).digest('hex')}`;

if (!process.argv.includes('--force') && existsSync(target) && readFileSync(target, 'utf8').startsWith(stamp)) {
  process.exit(0);
}

const { default: compiler } = await import('assemblyscript/asc');
const files = new Map();
const { error, stderr } = await compiler.main(options, {
  writeFile: (name, contents) => void files.set(name, contents),
});
if (error) {
  process.stderr.write(stderr.toString());
  process.exit(1);
}
const wasm = files.get('kernels.wasm');
if (process.argv.includes('--text')) process.stdout.write(files.get('kernels.wat'));
const base64 = Buffer.from(wasm).toString('base64');
mkdirSync(dirname(target), { recursive: true });
// Written beside and moved, so that several processes may build at once.
const draft = `${target}.${process.pid}`;
writeFileSync(
  draft,
  `${stamp}\n// Made by tools/build-kernels.mjs: do not edit.\nexport const KERNELS_WASM_BASE64: string =\n  '${base64}';\n`,
);
renameSync(draft, target);
process.stderr.write(`kernels: ${wasm.length} bytes of WebAssembly\n`);
