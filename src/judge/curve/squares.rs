//! Weighted least squares of at most three regressors, from sums that grow with each point.

/// Regressors of the model: a constant, absorption, charging.
pub(super) const TERMS: usize = 3;

/// Which terms take part; the constant always does.
pub(super) type Terms = [bool; TERMS];

/// The choices of terms, simplest first.
pub(super) const CHOICES: [Terms; 4] =
    [[true, false, false], [true, true, false], [true, false, true], [true, true, true]];

/// A pivot below this share of its diagonal leaves the terms inseparable.
const LEAST_PIVOT: f64 = 1e-10;

/// Sums over the points so far.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Sums {
    products: [[f64; TERMS]; TERMS],
    responses: [f64; TERMS],
    square: f64,
}

/// The best coefficients for one choice of terms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Solution {
    /// One for each term; 0 for a term that takes no part.
    pub(super) coefficients: [f64; TERMS],
    /// Their covariance.
    pub(super) covariance: [[f64; TERMS]; TERMS],
    /// Weighted sum of squared residuals.
    pub(super) chi_square: f64,
}

impl Sums {
    /// Adds a point with regressors `x`, response `y` and weight `1/u²`.
    pub(super) fn add(&mut self, x: [f64; TERMS], y: f64, weight: f64) {
        for (row, left) in x.into_iter().enumerate() {
            for (column, right) in x.into_iter().enumerate() {
                self.products[row][column] += weight * left * right;
            }
            self.responses[row] += weight * left * y;
        }
        self.square += weight * y * y;
    }

    /// Lets all points so far count for `share` of what they did.
    pub(super) fn fade(&mut self, share: f64) {
        self.products.iter_mut().flatten().for_each(|sum| *sum *= share);
        self.responses.iter_mut().for_each(|sum| *sum *= share);
        self.square *= share;
    }

    /// The best choice of terms whose absorption and charging are not below zero.
    pub(super) fn solve(&self) -> Option<Solution> {
        let sound = |solution: &Solution| {
            0.0 <= solution.coefficients[1] && 0.0 <= solution.coefficients[2]
        };
        CHOICES
            .into_iter()
            .filter_map(|terms| self.solve_for(terms))
            .filter(sound)
            .min_by(|one, other| one.chi_square.total_cmp(&other.chi_square))
    }

    /// Gauss–Jordan elimination on the normal equations of the terms that take part; a term that
    /// does not has a row of the unit matrix.
    fn solve_for(&self, terms: Terms) -> Option<Solution> {
        let mut matrix = [[0.0; TERMS]; TERMS];
        let mut inverse = [[0.0; TERMS]; TERMS];
        for row in 0..TERMS {
            for column in 0..TERMS {
                let part = terms[row] && terms[column];
                let unit = f64::from(u8::from(row == column));
                matrix[row][column] = if part { self.products[row][column] } else { unit };
                inverse[row][column] = unit;
            }
        }
        for pivot in 0..TERMS {
            let diagonal = matrix[pivot][pivot];
            let least = if terms[pivot] { self.products[pivot][pivot] * LEAST_PIVOT } else { 0.0 };
            // Written so that "no number" is inseparable too.
            let separable = least < diagonal;
            if !separable {
                return None;
            }
            eliminate(&mut matrix, &mut inverse, pivot);
        }
        Some(self.solution(terms, inverse))
    }

    fn solution(&self, terms: Terms, inverse: [[f64; TERMS]; TERMS]) -> Solution {
        let mut covariance = inverse;
        let mut coefficients = [0.0; TERMS];
        let mut chi_square = self.square;
        for row in 0..TERMS {
            for column in 0..TERMS {
                if terms[row] && terms[column] {
                    coefficients[row] += inverse[row][column] * self.responses[column];
                } else {
                    covariance[row][column] = 0.0;
                }
            }
            chi_square -= coefficients[row] * self.responses[row];
        }
        Solution { coefficients, covariance, chi_square: chi_square.max(0.0) }
    }
}

fn eliminate(
    matrix: &mut [[f64; TERMS]; TERMS],
    inverse: &mut [[f64; TERMS]; TERMS],
    pivot: usize,
) {
    let scale = matrix[pivot][pivot];
    for column in 0..TERMS {
        matrix[pivot][column] /= scale;
        inverse[pivot][column] /= scale;
    }
    for row in (0..TERMS).filter(|row| *row != pivot) {
        let factor = matrix[row][pivot];
        for column in 0..TERMS {
            matrix[row][column] -= factor * matrix[pivot][column];
            inverse[row][column] -= factor * inverse[pivot][column];
        }
    }
}

impl Solution {
    /// The model at regressors `x`.
    pub(super) fn at(&self, x: [f64; TERMS]) -> f64 {
        (0..TERMS).map(|term| self.coefficients[term] * x[term]).sum()
    }

    /// Variance of the model at regressors `x`.
    pub(super) fn variance_at(&self, x: [f64; TERMS]) -> f64 {
        let row = |row: [f64; TERMS]| row.into_iter().zip(x).map(|(c, x)| c * x).sum::<f64>();
        self.covariance.into_iter().zip(x).map(|(c, x)| x * row(c)).sum::<f64>().max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sums(points: &[([f64; TERMS], f64)]) -> Sums {
        let mut sums = Sums::default();
        for (x, y) in points {
            sums.add(*x, *y, 1.0);
        }
        sums
    }

    #[test]
    fn a_plane_is_found_by_its_points() {
        // y = 2 + 3a + 5b at five points.
        let x =
            [[1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [1.0, 0.0, 1.0], [1.0, 2.0, 1.0], [1.0, 1.0, 3.0]];
        let points = x.map(|x| (x, 2.0 * x[0] + 3.0 * x[1] + 5.0 * x[2]));
        let found = sums(&points).solve().unwrap();
        for (found, expected) in found.coefficients.into_iter().zip([2.0, 3.0, 5.0]) {
            assert!((found - expected).abs() < 1e-9, "{found} against {expected}");
        }
        assert!(found.chi_square < 1e-9);
    }

    #[test]
    fn the_variance_of_a_mean_is_that_of_its_readings_over_their_number() {
        let points = [([1.0, 0.0, 0.0], 1.0); 4];
        let found = sums(&points).solve().unwrap();
        assert!((found.variance_at([1.0, 0.0, 0.0]) - 0.25).abs() < 1e-12);
    }

    #[test]
    fn a_rising_response_has_no_absorption_below_zero() {
        // Absorption that would have to be negative is left out: the mean remains.
        let points = [([1.0, 3.0, 0.0], 1.0), ([1.0, 2.0, 0.0], 2.0), ([1.0, 1.0, 0.0], 3.0)];
        let found = sums(&points).solve().unwrap();
        assert_eq!(found.coefficients[1..], [0.0, 0.0]);
        assert!((found.coefficients[0] - 2.0).abs() < 1e-9);
    }

    #[test]
    fn terms_that_no_point_tells_apart_are_left_out() {
        let found = sums(&[([1.0, 1.0, 1.0], 4.0); 5]).solve().unwrap();
        assert!((found.at([1.0, 1.0, 1.0]) - 4.0).abs() < 1e-9);
        assert_eq!(found.coefficients[1..], [0.0, 0.0]);
    }

    #[test]
    fn without_a_point_there_is_no_solution() {
        assert_eq!(Sums::default().solve(), None);
    }
}
