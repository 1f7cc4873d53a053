//! Labels in a row: as near as can be to where they belong, and never over each other.

/// Where labels of these wishes `(centre, length)` begin so that they keep `gap` apart, stay in
/// order and within `low..high`, and are moved as little as possible; none if there is no room.
///
/// Least squares under an order: neighbours that push each other form a block, which stands at the
/// mean of their wishes.
pub(super) fn spread(wishes: &[(f64, f64)], gap: f64, low: f64, high: f64) -> Option<Vec<f64>> {
    let total: f64 = wishes.iter().map(|(_, length)| length + gap).sum::<f64>() - gap;
    if total > high - low {
        return None;
    }
    let mut before = 0.0;
    let mut blocks: Vec<(f64, usize)> = Vec::new();
    let mut offsets = Vec::with_capacity(wishes.len());
    for (centre, length) in wishes {
        offsets.push(before);
        push(&mut blocks, centre - length / 2.0 - before);
        before += length + gap;
    }
    let room = low..=(high - total).max(low);
    let shifts = blocks.iter().flat_map(|&(mean, count)| std::iter::repeat_n(mean, count));
    let clamp = |shift: f64| shift.clamp(*room.start(), *room.end());
    Some(shifts.zip(offsets).map(|(shift, offset)| clamp(shift) + offset).collect())
}

/// Adds a wish and merges it with the blocks it would push into.
#[expect(clippy::cast_precision_loss, reason = "a page holds few labels")]
fn push(blocks: &mut Vec<(f64, usize)>, wish: f64) {
    let mut block = (wish, 1);
    while let Some(&(mean, count)) = blocks.last() {
        if mean <= block.0 {
            break;
        }
        blocks.pop();
        let all = count + block.1;
        block = ((mean * count as f64 + block.0 * block.1 as f64) / all as f64, all);
    }
    blocks.push(block);
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn labels_with_room_stand_where_they_belong() {
        let places = spread(&[(50.0, 20.0), (100.0, 20.0)], 4.0, 0.0, 200.0);
        assert_eq!(places, Some(vec![40.0, 90.0]));
    }

    #[test]
    fn labels_at_one_place_part_evenly() {
        let places = spread(&[(100.0, 20.0), (100.0, 20.0)], 4.0, 0.0, 200.0);
        assert_eq!(places, Some(vec![78.0, 102.0]));
    }

    #[test]
    fn labels_at_the_edge_are_pushed_inwards() {
        let places = spread(&[(0.0, 20.0), (1.0, 20.0)], 4.0, 0.0, 200.0);
        assert_eq!(places, Some(vec![0.0, 24.0]));
    }

    #[test]
    fn too_many_labels_find_no_room() {
        assert_eq!(spread(&[(1.0, 60.0), (2.0, 60.0)], 4.0, 0.0, 100.0), None);
    }

    proptest! {
        /// However crowded, labels keep their distance, their order and the bounds.
        #[test]
        fn labels_never_overlap(mut wishes in prop::collection::vec((0.0..500.0, 1.0..60.0), 1..12)) {
            wishes.sort_by(|a: &(f64, f64), b| a.0.total_cmp(&b.0));
            if let Some(places) = spread(&wishes, 5.0, 0.0, 500.0) {
                prop_assert!(places[0] >= -1e-9);
                for (pair, wish) in places.windows(2).zip(&wishes) {
                    prop_assert!(pair[0] + wish.1 + 5.0 <= pair[1] + 1e-9);
                }
                let last = wishes.len() - 1;
                prop_assert!(places[last] + wishes[last].1 <= 500.0 + 1e-9);
            }
        }
    }
}
