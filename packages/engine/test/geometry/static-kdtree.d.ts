declare module 'static-kdtree' {
  interface KdTree {
    nn(query: readonly number[]): number;
    knn(query: readonly number[], count: number): number[];
    rnn(query: readonly number[], radius: number, visit: (index: number) => void): void;
  }
  export default function createKDTree(points: readonly (readonly number[])[]): KdTree;
}
