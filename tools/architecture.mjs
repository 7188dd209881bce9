// The architecture as one table: who may import whom. The boundary check and ARCHITECTURE.md both follow it.

/** Packages and what they may import. */
export const PACKAGES = {
  kernels: [],
  engine: ['kernels'],
  jobs: ['engine'],
  cli: ['engine', 'jobs'],
};

/** npm packages that the engine may use: pure JavaScript or WebAssembly, outside our trade; reasons in docs/decisions. */
export const ENGINE_LIBRARIES = ['meshoptimizer', 'fflate', 'd3-scale-chromatic'];

/** Layers of the engine: a folder imports only lower ones. Folders of one layer do not see each other. */
export const ENGINE_LAYERS = [
  ['base'],
  ['math'],
  ['geometry'],
  ['model'],
  ['formats', 'register', 'adjust', 'covariance', 'fuse', 'simulate', 'report'],
  ['advise'],
  ['pipeline'],
];
