// The part of WebAssembly's JavaScript interface used here. Node, workers and browsers all have it; the language's own
// type library does not.

/** A growable memory that several threads may see. */
export interface SharedMemory {
  readonly buffer: SharedArrayBuffer;
  grow(pages: number): number;
}

interface WebAssemblyInterface {
  readonly Module: new (bytes: Uint8Array) => object;
  readonly Instance: new (module: object, imports: object) => { readonly exports: unknown };
  readonly Memory: new (descriptor: { initial: number; maximum: number; shared: true }) => SharedMemory;
}

declare const WebAssembly: WebAssemblyInterface | undefined;

/** WebAssembly, or null where the platform has none. */
export function webAssembly(): WebAssemblyInterface | null {
  return typeof WebAssembly === 'undefined' || typeof SharedArrayBuffer === 'undefined' ? null : WebAssembly;
}
