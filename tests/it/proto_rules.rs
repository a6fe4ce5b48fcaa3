//! Rules of the wire, held on its descriptors.
//!
//! They are those of the API improvement proposals (AIP) 126 (enumerations), 140 (field names), 141
//! (units), 192 (comments) and 216 (states), and of the usual lint set for protobuf files.

use prost::Message as _;
use prost_types::field_descriptor_proto::Type;
use prost_types::{DescriptorProto, EnumDescriptorProto, FileDescriptorProto, FileDescriptorSet};

fn own_files() -> Vec<FileDescriptorProto> {
    let set = FileDescriptorSet::decode(baytrim_api::DESCRIPTORS).expect("descriptors decode");
    let own = set
        .file
        .into_iter()
        .filter(|file| file.package() == "baytrim.v1");
    own.collect()
}

/// If this fails, some message, field, method or value stands in the proto without a word on what it is.
#[test]
fn every_element_is_commented() {
    // Paths into a file's descriptor that are elements: message 4, enum 5, service 6, and within
    // them field 2, nested message 3, nested enum 4, oneof 8, method 2, value 2.
    let mut elements = 0;
    for file in own_files() {
        let info = file
            .source_code_info
            .as_ref()
            .expect("source information is kept");
        for location in &info.location {
            let depth = location.path.len();
            let element = depth >= 2
                && depth % 2 == 0
                && [4, 5, 6].contains(&location.path[0])
                && location.path[2..]
                    .chunks(2)
                    .all(|pair| [2, 3, 4, 8].contains(&pair[0]));
            if element {
                elements += 1;
                let comment = location.leading_comments();
                assert!(
                    !comment.trim().is_empty(),
                    "{}: element {:?} at line {} has no comment",
                    file.name(),
                    location.path,
                    location.span[0] + 1
                );
            }
        }
    }
    assert!(elements > 200, "looked at only {elements} elements");
}

/// If this fails, a method breaks the pairing of request and response, or a service its name's form.
#[test]
fn services_pair_requests_and_responses() {
    for file in own_files() {
        for service in &file.service {
            assert!(service.name().ends_with("Service"), "{}", service.name());
            for method in &service.method {
                let wanted = |suffix: &str| format!(".baytrim.v1.{}{suffix}", method.name());
                assert_eq!(method.input_type(), wanted("Request"));
                assert_eq!(method.output_type(), wanted("Response"));
            }
        }
    }
}

/// If this fails, an enumeration lacks its unspecified zero, or its values their prefix.
#[test]
fn enumerations_begin_unspecified() {
    for file in own_files() {
        for item in &file.enum_type {
            check_enum(item);
        }
        for message in &file.message_type {
            for item in &message.enum_type {
                check_enum(item);
            }
        }
    }
}

fn check_enum(item: &EnumDescriptorProto) {
    let mut prefix = String::new();
    for (index, letter) in item.name().chars().enumerate() {
        if letter.is_uppercase() && index > 0 {
            prefix.push('_');
        }
        prefix.push(letter.to_ascii_uppercase());
    }
    assert_eq!(item.value[0].name(), format!("{prefix}_UNSPECIFIED"));
    assert_eq!(item.value[0].number(), 0);
    for value in &item.value {
        assert!(value.name().starts_with(&prefix), "{}", value.name());
    }
}

/// If this fails, a script in some language can't name a field: `lambda` and its like are keywords.
#[test]
fn field_names_are_no_keywords() {
    let banned = [
        "lambda", "from", "in", "is", "async", "type", "class", "def", "import", "global", "pass",
    ];
    for_each_message(&mut |message| {
        for field in &message.field {
            assert!(
                !banned.contains(&field.name()),
                "{}.{}",
                message.name(),
                field.name()
            );
        }
    });
}

/// If this fails, a number goes over the wire without saying its unit or that it has none.
#[test]
fn real_numbers_name_their_unit() {
    let units = [
        "_percent",
        "_ratio",
        "_s",
        "_l",
        "_cc",
        "_ms",
        "_afr",
        "rpm",
        "cycles",
        "_error",
        "_fraction",
        "_risk",
        "probability",
        "_confidence",
        "_factor",
        "_min",
        "_max",
        "_low",
        "_high",
        "_kpa",
        "_c",
        "_kw",
        "_nm",
        "_hz",
        "_kg_m3",
        // In the unit of the field that holds them.
        "mean",
        "change",
        // In the table's own unit, or told by `quantity` beside it.
        "values",
        "before",
        "after",
        "resolution",
    ];
    for_each_message(&mut |message| {
        for field in &message.field {
            let real = matches!(field.r#type(), Type::Double | Type::Float);
            let name = field.name();
            let named = units.iter().any(|unit| name.ends_with(unit))
                || name.contains("_ratio_")
                || name.contains("_percent_");
            assert!(!real || named, "{}.{name}", message.name());
        }
    });
}

fn for_each_message(check: &mut dyn FnMut(&DescriptorProto)) {
    for file in own_files() {
        for message in &file.message_type {
            check(message);
        }
    }
}
