//! JSON Schemas of the files that a person writes, for editors that complete and check them.

use schemars::{Schema, SchemaGenerator, json_schema};

use super::driver::{MeterFile, ScannerDriver, SupplyDriver};
use super::wiring::StationFile;

/// The schema of a station file.
#[must_use]
pub fn station() -> Schema {
    schemars::schema_for!(StationFile)
}

/// The schema of a driver file: of a supply, a meter or a scanner, as its `kind` says.
#[must_use]
pub fn driver() -> Schema {
    let mut generator = SchemaGenerator::default();
    let kinds = [
        generator.subschema_for::<SupplyDriver>(),
        generator.subschema_for::<MeterFile>(),
        generator.subschema_for::<ScannerDriver>(),
    ];
    let mut schema = json_schema!({
        "$schema": generator.settings().meta_schema.clone(),
        "title": "Driver",
        "description": "An instrument as data: its line, its words, what it can do",
        "anyOf": kinds,
    });
    schema.insert("$defs".into(), generator.take_definitions(true).into());
    schema
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::*;
    use crate::station::driver::SHIPPED;
    use crate::station::wiring::EXAMPLE;

    fn complaints(schema: &Schema, text: &str) -> Vec<String> {
        let instance: Value = toml::from_str(text).unwrap();
        let validator = jsonschema::validator_for(schema.as_value()).unwrap();
        validator.iter_errors(&instance).map(|error| error.to_string()).collect()
    }

    #[test]
    fn what_comes_with_the_program_keeps_to_its_schema() {
        assert_eq!(complaints(&station(), EXAMPLE), Vec::<String>::new());
        for (name, text) in SHIPPED {
            assert_eq!(complaints(&driver(), text), Vec::<String>::new(), "{name}");
        }
    }

    #[test]
    fn a_schema_finds_what_the_reader_would_refuse() {
        let misspelt = EXAMPLE.replacen("name =", "ceilling = \"60 V\"\nname =", 1);
        assert!(!complaints(&station(), &misspelt).is_empty());
        let unwritten = EXAMPLE.replacen("\"1 kΩ\"", "1000", 1);
        assert!(!complaints(&station(), &unwritten).is_empty());
        let wordless = SHIPPED[0].1.replacen("output_off = \"OUTP OFF\"\n", "", 1);
        assert!(!complaints(&driver(), &wordless).is_empty());
    }

    #[test]
    fn each_key_of_a_schema_is_explained() {
        let schema = station();
        let keys = schema.get("properties").and_then(Value::as_object).unwrap();
        for (key, value) in keys {
            assert!(value.get("description").is_some(), "{key} has no description");
        }
    }
}
