export * from './moving-average-field.ts';
export * from './network-families.ts';
export * from './simulate-network.ts';
