// Simulate: virtual instruments that capture a mesh of known truth by ray casting. Takes a mesh or a parametric model,
// gives scans, targets and probed points with noise, and the truth beside them. The only place where data is invented.
// It does not know file formats and aligns nothing.
export * from './correlated-field.ts';
export * from './cut-partial-view.ts';
export * from './range-image.ts';
export * from './range-image-mesh.ts';
export * from './scene.ts';
export * from './surface-noise.ts';
