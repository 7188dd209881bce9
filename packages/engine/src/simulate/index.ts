// Simulate: virtual instruments that capture a mesh of known truth by ray casting. Takes a mesh or a parametric model,
// gives scans, targets and probed points with noise, and the truth beside them. The only place where data is invented.
// It does not know file formats and aligns nothing.

export * from './cabin/cabin-probe-features.ts';
export * from './cabin/cabin-sessions.ts';
export * from './cabin/simulate-ropeway-cabin.ts';
export * from './compare-with-truth.ts';
export * from './correlated-field.ts';
export * from './cut-partial-view.ts';
export * from './known-truth.ts';
export * from './model-solid.ts';
export * from './network-jobs/index.ts';
export * from './probe.ts';
export * from './range-image.ts';
export * from './range-image-mesh.ts';
export * from './scene.ts';
export * from './session-surface.ts';
export * from './station.ts';
export * from './surface-noise.ts';
export * from './targets.ts';
export * from './temperature.ts';
export * from './visibility.ts';
export * from './visible-truth.ts';
