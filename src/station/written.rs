//! Quantities in station and driver files: text as the trade writes it, typed on the way in.

use std::borrow::Cow;
use std::marker::PhantomData;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{Deserialize, Deserializer, Error, Visitor};

use crate::quantity::read::{self, ReadError};
use crate::quantity::{Celsius, Current, Resistance, Time, Voltage};

/// A quantity that a file gives as text.
pub(crate) trait Readable: Sized {
    /// What the file is expected to hold, with an example.
    const EXPECTED: &'static str;

    /// Reads it.
    fn read(text: &str) -> Result<Self, ReadError>;
}

impl Readable for Voltage {
    const EXPECTED: &'static str = "a voltage in quotes, such as \"60 V\"";

    fn read(text: &str) -> Result<Self, ReadError> {
        read::voltage(text)
    }
}

impl Readable for Current {
    const EXPECTED: &'static str = "a current in quotes, such as \"100 µA\"";

    fn read(text: &str) -> Result<Self, ReadError> {
        read::current(text)
    }
}

impl Readable for Resistance {
    const EXPECTED: &'static str = "a resistance in quotes, such as \"1 kΩ\"";

    fn read(text: &str) -> Result<Self, ReadError> {
        read::resistance(text)
    }
}

impl Readable for Celsius {
    const EXPECTED: &'static str = "a temperature in quotes, such as \"23 °C\"";

    fn read(text: &str) -> Result<Self, ReadError> {
        read::temperature_celsius(text)
    }
}

impl Readable for Time {
    const EXPECTED: &'static str = "a time in quotes, such as \"100 ms\"";

    fn read(text: &str) -> Result<Self, ReadError> {
        read::time(text)
    }
}

/// The shape of such a text, for the schemas.
pub(crate) struct Written;

impl JsonSchema for Written {
    fn schema_name() -> Cow<'static, str> {
        "Written".into()
    }

    fn json_schema(_generator: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "string",
            "description": "A number and its unit as the trade writes them, such as \"4.7 kΩ\"",
            "pattern": "[0-9]"
        })
    }
}

/// For `#[serde(deserialize_with = "written")]`.
pub(crate) fn written<'de, D: Deserializer<'de>, Q: Readable>(from: D) -> Result<Q, D::Error> {
    from.deserialize_str(Text(PhantomData))
}

/// For a quantity that may be left out.
pub(crate) fn written_if_given<'de, D: Deserializer<'de>, Q: Readable>(
    from: D,
) -> Result<Option<Q>, D::Error> {
    #[derive(serde::Deserialize)]
    #[serde(bound = "Q: Readable")]
    struct Given<Q: Readable>(#[serde(deserialize_with = "written")] Q);
    Ok(Option::<Given<Q>>::deserialize(from)?.map(|given| given.0))
}

struct Text<Q>(PhantomData<Q>);

impl<Q: Readable> Visitor<'_> for Text<Q> {
    type Value = Q;

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(Q::EXPECTED)
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Q, E> {
        Q::read(text).map_err(|error| E::custom(error.to_string()))
    }
}
