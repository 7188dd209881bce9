/**
 * Rearranges `order[left..right]` so that position `k` holds what a full sort by (key, value) would put there, smaller
 * entries before it and larger ones after it.
 *
 * Method   Hoare's selection with the middle element as pivot.
 */
export function selectOrder(order: Int32Array, keys: Float32Array, left: number, right: number, k: number): void {
  let low = left;
  let high = right;
  while (low < high) {
    const pivot = order[(low + high) >> 1];
    const key = keys[pivot];
    let i = low;
    let j = high;
    while (i <= j) {
      while (keys[order[i]] < key || (keys[order[i]] === key && order[i] < pivot)) i++;
      while (keys[order[j]] > key || (keys[order[j]] === key && order[j] > pivot)) j--;
      if (i <= j) {
        const swap = order[i];
        order[i++] = order[j];
        order[j--] = swap;
      }
    }
    if (k <= j) high = j;
    else if (k >= i) low = i;
    else return;
  }
}
