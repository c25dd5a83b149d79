//! Householder reflections, and the triangle that they leave of a tall matrix.
//!
//! [`triangularise`] turns rows into an upper [`Triangle`] with the same lengths and angles; what least squares asks of
//! the rows is asked of the triangle instead, without squaring the condition number as normal equations do.
//!
//! Invariant: sums run in the order of the rows.

#![allow(clippy::needless_range_loop)] // Indices of matrices read as in the formulas.

/// An upper triangle R, row by row; what is below the diagonal is zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Triangle<const P: usize>(pub [[f64; P]; P]);

/// Reflects rows to a triangle and takes the right side along.
///
/// # Arguments
/// * `rows`: n ≥ P rows; overwritten by the reflectors, which [`reflect`] and [`reflect_back`] read.
///
/// # Source
/// A. S. Householder, J. ACM 5 (1958) 339; signs as in G. H. Golub, C. F. Van Loan, Matrix Computations, 4th ed., 2013,
/// 5.1 and 5.2 (from memory).
pub fn triangularise<const P: usize>(rows: &mut [[f64; P]]) -> Triangle<P> {
    let mut triangle = [[0.0; P]; P];
    for column in 0..P.min(rows.len()) {
        // Squares of lengths beyond 1e154 leave the range; a scale keeps them in.
        let largest = rows[column..].iter().fold(0.0_f64, |largest, row| largest.max(row[column].abs()));
        if largest == 0.0 || !largest.is_finite() {
            triangle[column] = rows[column];
            triangle[column][..column].fill(0.0);
            if largest == 0.0 {
                continue;
            }
            triangle[column][column] = f64::NAN;
            continue;
        }
        let mut squares = 0.0;
        for row in &rows[column..] {
            let scaled = row[column] / largest;
            squares += scaled * scaled;
        }
        let length = largest * squares.sqrt();
        let pivot = rows[column][column];
        let diagonal = if pivot > 0.0 { -length } else { length };
        // The reflector v is kept with v₀ = 1, scaled by its first component; beta belongs to that scale.
        let first = pivot - diagonal;
        for row in &mut rows[column + 1..] {
            row[column] /= first;
        }
        let beta = -first / diagonal;
        rows[column][column] = beta;
        for other in column + 1..P {
            let mut product = rows[column][other];
            for row in &rows[column + 1..] {
                product += row[column] * row[other];
            }
            product *= beta;
            rows[column][other] -= product;
            for row in &mut rows[column + 1..] {
                row[other] -= product * row[column];
            }
        }
        triangle[column] = rows[column];
        triangle[column][..column].fill(0.0);
        triangle[column][column] = diagonal;
    }
    Triangle(triangle)
}

/// Reflects a right side as [`triangularise`] reflected the rows: its first P components then belong to the triangle,
/// the rest is what no parameters can meet.
pub fn reflect<const P: usize>(reflectors: &[[f64; P]], right: &mut [f64]) {
    for column in 0..P.min(reflectors.len()) {
        reflect_once(reflectors, column, right);
    }
}

/// Undoes [`reflect`].
pub fn reflect_back<const P: usize>(reflectors: &[[f64; P]], right: &mut [f64]) {
    for column in (0..P.min(reflectors.len())).rev() {
        reflect_once(reflectors, column, right);
    }
}

fn reflect_once<const P: usize>(reflectors: &[[f64; P]], column: usize, right: &mut [f64]) {
    let beta = reflectors[column][column];
    let mut product = right[column];
    for (row, value) in reflectors[column + 1..].iter().zip(&right[column + 1..]) {
        product += row[column] * value;
    }
    product *= beta;
    right[column] -= product;
    for (row, value) in reflectors[column + 1..].iter().zip(&mut right[column + 1..]) {
        *value -= product * row[column];
    }
}

impl<const P: usize> Triangle<P> {
    /// The lengths of its columns, which are those of the rows it came from.
    pub fn column_lengths(&self) -> [f64; P] {
        let mut lengths = [0.0; P];
        for (column, length) in lengths.iter_mut().enumerate() {
            let largest = self.0[..=column].iter().fold(0.0_f64, |largest, row| largest.max(row[column].abs()));
            if largest > 0.0 {
                let squares: f64 =
                    self.0[..=column].iter().map(|row| (row[column] / largest) * (row[column] / largest)).sum();
                *length = largest * squares.sqrt();
            }
        }
        lengths
    }

    /// The first column that hardly stands out of those before it: its parameter is not determined.
    ///
    /// The measure is the sine of the angle between the column and the space of the earlier ones, which no change of
    /// units moves; below 1e-13 nothing but rounding is left.
    pub fn undetermined(&self) -> Option<usize> {
        let lengths = self.column_lengths();
        (0..P).find(|&column| {
            let sine = self.0[column][column].abs() / lengths[column];
            sine.is_nan() || sine < 1e-13
        })
    }

    /// Solves R·z = b.
    pub fn solve(&self, mut right: [f64; P]) -> [f64; P] {
        for i in (0..P).rev() {
            for j in i + 1..P {
                right[i] -= self.0[i][j] * right[j];
            }
            right[i] /= self.0[i][i];
        }
        right
    }

    /// Solves Rᵀ·z = b.
    pub fn solve_transposed(&self, mut right: [f64; P]) -> [f64; P] {
        for i in 0..P {
            for j in 0..i {
                right[i] -= self.0[j][i] * right[j];
            }
            right[i] /= self.0[i][i];
        }
        right
    }

    /// R·z.
    pub fn times(&self, z: &[f64; P]) -> [f64; P] {
        let mut product = [0.0; P];
        for i in 0..P {
            for j in i..P {
                product[i] += self.0[i][j] * z[j];
            }
        }
        product
    }

    /// The inverse, an upper triangle too: (RᵀR)⁻¹ = R⁻¹·R⁻ᵀ.
    pub fn inverse(&self) -> [[f64; P]; P] {
        let mut inverse = [[0.0; P]; P];
        for column in 0..P {
            let mut unit = [0.0; P];
            unit[column] = 1.0;
            for (row, value) in self.solve(unit).into_iter().enumerate() {
                inverse[row][column] = value;
            }
        }
        inverse
    }

    /// Takes a diagonal under the triangle and turns it up into it by plane rotations, with its right side.
    ///
    /// # Source
    /// J. J. Moré, in: Numerical Analysis, Lecture Notes in Mathematics 630, Springer, 1978, section 3 (from memory).
    pub fn over_diagonal(&self, right: &[f64; P], diagonal: &[f64; P]) -> (Self, [f64; P]) {
        let (mut triangle, mut right) = (self.0, *right);
        for start in 0..P {
            let mut row = [0.0; P];
            row[start] = diagonal[start];
            let mut value = 0.0;
            for k in start..P {
                if row[k] == 0.0 {
                    continue;
                }
                let length = libm::hypot(triangle[k][k], row[k]);
                let (cosine, sine) = (triangle[k][k] / length, row[k] / length);
                for j in k..P {
                    let (above, below) = (triangle[k][j], row[j]);
                    triangle[k][j] = cosine * above + sine * below;
                    row[j] = cosine * below - sine * above;
                }
                row[k] = 0.0;
                let (above, below) = (right[k], value);
                right[k] = cosine * above + sine * below;
                value = cosine * below - sine * above;
            }
        }
        (Self(triangle), right)
    }
}

/// The lower Cholesky factor of a symmetric matrix; `None` where it is not positive definite.
pub(crate) fn cholesky<const P: usize>(matrix: &[[f64; P]; P]) -> Option<[[f64; P]; P]> {
    let mut factor = [[0.0; P]; P];
    for j in 0..P {
        let mut pivot = matrix[j][j];
        for k in 0..j {
            pivot -= factor[j][k] * factor[j][k];
        }
        if pivot.is_nan() || pivot <= 0.0 || pivot.is_infinite() {
            return None;
        }
        factor[j][j] = pivot.sqrt();
        for i in j + 1..P {
            let mut entry = matrix[i][j];
            for k in 0..j {
                entry -= factor[i][k] * factor[j][k];
            }
            factor[i][j] = entry / factor[j][j];
        }
    }
    Some(factor)
}

/// Solves L·Lᵀ·z = b for a lower factor L.
pub(crate) fn solve_cholesky<const P: usize>(factor: &[[f64; P]; P], mut right: [f64; P]) -> [f64; P] {
    for i in 0..P {
        for j in 0..i {
            right[i] -= factor[i][j] * right[j];
        }
        right[i] /= factor[i][i];
    }
    for i in (0..P).rev() {
        for j in i + 1..P {
            right[i] -= factor[j][i] * right[j];
        }
        right[i] /= factor[i][i];
    }
    right
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn any_rows() -> impl Strategy<Value = Vec<[f64; 3]>> {
        proptest::collection::vec([-2.0..2.0_f64, -2.0..2.0_f64, -2.0..2.0_f64], 4..12)
    }

    proptest! {
        #[test]
        fn least_squares_agree_with_those_of_another_library(rows in any_rows(), seed in -1.0..1.0_f64) {
            let n = rows.len();
            let right: Vec<f64> = (0..n).map(|i| seed + rows[i][0] * rows[i][2] - 0.3 * rows[i][1]).collect();
            let matrix = nalgebra::DMatrix::from_fn(n, 3, |i, j| rows[i][j]);
            let smallest = matrix.singular_values().min();
            prop_assume!(smallest > 1e-2);
            let qr = matrix.qr();
            let side = qr.q().transpose() * nalgebra::DVector::from_row_slice(&right);
            let other = qr.r().solve_upper_triangular(&side).unwrap();
            let mut reflectors = rows.clone();
            let triangle = triangularise(&mut reflectors);
            prop_assert_eq!(triangle.undetermined(), None);
            let mut turned = right.clone();
            reflect(&reflectors, &mut turned);
            let mine = triangle.solve([turned[0], turned[1], turned[2]]);
            for j in 0..3 {
                prop_assert!((mine[j] - other[j]).abs() < 1e-12 * (1.0 + other[j].abs()) / (smallest * smallest), "{mine:?} {other:?}");
            }
            reflect_back(&reflectors, &mut turned);
            for (there, back) in right.iter().zip(&turned) {
                prop_assert!((there - back).abs() < 1e-12);
            }
        }

        #[test]
        fn a_diagonal_under_the_triangle_is_as_rows_under_the_rows(rows in any_rows(), diagonal in [0.1..2.0_f64, 0.0..2.0_f64, 0.1..2.0_f64]) {
            let right: Vec<f64> = rows.iter().map(|row| row[0] - row[2] + 0.5).collect();
            let mut long_rows = rows.clone();
            let mut long_right = right.clone();
            for j in 0..3 {
                let mut row = [0.0; 3];
                row[j] = diagonal[j];
                long_rows.push(row);
                long_right.push(0.0);
            }
            let mut reflectors = rows.clone();
            let mut turned = right.clone();
            let triangle = triangularise(&mut reflectors);
            reflect(&reflectors, &mut turned);
            let (damped, side) = triangle.over_diagonal(&[turned[0], turned[1], turned[2]], &diagonal);
            let long = triangularise(&mut long_rows);
            reflect(&long_rows, &mut long_right);
            let one = damped.solve(side);
            let other = long.solve([long_right[0], long_right[1], long_right[2]]);
            prop_assume!(long.0.iter().enumerate().all(|(i, row)| row[i].abs() > 1e-3));
            for j in 0..3 {
                prop_assert!((one[j] - other[j]).abs() < 1e-9 * (1.0 + other[j].abs()));
            }
        }

        #[test]
        fn no_rows_whatever_panic(rows in proptest::collection::vec([any::<f64>(), any::<f64>()], 0..6)) {
            let mut reflectors = rows.clone();
            let triangle = triangularise(&mut reflectors);
            let mut right = vec![1.0; rows.len()];
            reflect(&reflectors, &mut right);
            let _ = (triangle.undetermined(), triangle.inverse());
        }
    }

    #[test]
    fn a_column_that_repeats_another_is_not_determined() {
        let mut rows: Vec<[f64; 2]> = (1..6).map(|i| [f64::from(i), 3.0 * f64::from(i)]).collect();
        assert_eq!(triangularise(&mut rows).undetermined(), Some(1));
        let mut rows = vec![[0.0, 1.0]; 4];
        assert_eq!(triangularise(&mut rows).undetermined(), Some(0));
    }
}
