//! Every line of the collection of data-sheet phrases.

use super::*;
use crate::quantity::{farads, volts};

mod rows;
