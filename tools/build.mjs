// Builds the WebAssembly kernels and all packages.
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { install, root, run } from './install.mjs';

/** Kernels first: the packages import the generated file. */
export function buildKernels() {
  const script = join(root, 'tools', 'build-kernels.mjs');
  if (existsSync(script)) run(process.execPath, [script]);
}

export function build() {
  buildKernels();
  run(process.execPath, [join(root, 'node_modules', 'typescript', 'bin', 'tsc'), '-b']);
}

if (import.meta.url === pathToFileURL(process.argv[1]).href) {
  install();
  build();
}
