//! What the structures of a Parquet file hold: `parquet.thrift` of the Apache Parquet format, 2.11.

use super::thrift::Shape::{self, Binary, Byte, Double, List, Struct, Truth, Whole};

/// A page's head, `PageHeader`.
pub(super) const PAGE: &[(i16, Shape)] = &[
    (1, Whole),
    (2, Whole),
    (3, Whole),
    (4, Whole),
    (5, Struct(DATA_PAGE)),
    (6, Struct(&[])),
    (7, Struct(DICTIONARY_PAGE)),
    (8, Struct(DATA_PAGE_2)),
];

const DATA_PAGE: &[(i16, Shape)] = &[
    (1, Whole),
    (2, Whole),
    (3, Whole),
    (4, Whole),
    (5, Struct(STATISTICS)),
];

const DICTIONARY_PAGE: &[(i16, Shape)] = &[(1, Whole), (2, Whole), (3, Truth)];

const DATA_PAGE_2: &[(i16, Shape)] = &[
    (1, Whole),
    (2, Whole),
    (3, Whole),
    (4, Whole),
    (5, Whole),
    (6, Whole),
    (7, Truth),
    (8, Struct(STATISTICS)),
];

const STATISTICS: &[(i16, Shape)] = &[
    (1, Binary),
    (2, Binary),
    (3, Whole),
    (4, Whole),
    (5, Binary),
    (6, Binary),
    (7, Truth),
    (8, Truth),
    (9, Whole),
];

/// The description at the end of a file, `FileMetaData`.
pub(super) const FILE: &[(i16, Shape)] = &[
    (1, Whole),
    (2, List(&Struct(SCHEMA))),
    (3, Whole),
    (4, List(&Struct(ROW_GROUP))),
    (5, List(&Struct(KEY_VALUE))),
    (6, Binary),
    // A union of empty structures.
    (7, List(&Struct(&[]))),
    (8, Struct(ENCRYPTION)),
    (9, Binary),
];

const SCHEMA: &[(i16, Shape)] = &[
    (1, Whole),
    (2, Whole),
    (3, Whole),
    (4, Binary),
    (5, Whole),
    (6, Whole),
    (7, Whole),
    (8, Whole),
    (9, Whole),
    (10, Struct(LOGICAL_TYPE)),
];

/// Members that are not named are empty structures.
const LOGICAL_TYPE: &[(i16, Shape)] = &[
    (5, Struct(&[(1, Whole), (2, Whole)])),
    (7, Struct(TIME_TYPE)),
    (8, Struct(TIME_TYPE)),
    (10, Struct(&[(1, Byte), (2, Truth)])),
    (16, Struct(&[(1, Byte)])),
    (17, Struct(&[(1, Binary)])),
    (18, Struct(&[(1, Binary), (2, Whole)])),
];

const TIME_TYPE: &[(i16, Shape)] = &[(1, Truth), (2, Struct(&[]))];

const KEY_VALUE: &[(i16, Shape)] = &[(1, Binary), (2, Binary)];

const ROW_GROUP: &[(i16, Shape)] = &[
    (1, List(&Struct(COLUMN))),
    (2, Whole),
    (3, Whole),
    (4, List(&Struct(&[(1, Whole), (2, Truth), (3, Truth)]))),
    (5, Whole),
    (6, Whole),
    (7, Whole),
];

const COLUMN: &[(i16, Shape)] = &[
    (1, Binary),
    (2, Whole),
    (3, Struct(COLUMN_DATA)),
    (4, Whole),
    (5, Whole),
    (6, Whole),
    (7, Whole),
    (8, Struct(&[(1, Struct(&[])), (2, Struct(COLUMN_KEY))])),
    (9, Binary),
];

const COLUMN_KEY: &[(i16, Shape)] = &[(1, List(&Binary)), (2, Binary)];

const COLUMN_DATA: &[(i16, Shape)] = &[
    (1, Whole),
    (2, List(&Whole)),
    (3, List(&Binary)),
    (4, Whole),
    (5, Whole),
    (6, Whole),
    (7, Whole),
    (8, List(&Struct(KEY_VALUE))),
    (9, Whole),
    (10, Whole),
    (11, Whole),
    (12, Struct(STATISTICS)),
    (13, List(&Struct(&[(1, Whole), (2, Whole), (3, Whole)]))),
    (14, Whole),
    (15, Whole),
    (16, Struct(SIZES)),
    (17, Struct(&[(1, Struct(BOX)), (2, List(&Whole))])),
];

const SIZES: &[(i16, Shape)] = &[(1, Whole), (2, List(&Whole)), (3, List(&Whole))];

const BOX: &[(i16, Shape)] = &[
    (1, Double),
    (2, Double),
    (3, Double),
    (4, Double),
    (5, Double),
    (6, Double),
    (7, Double),
    (8, Double),
];

const ENCRYPTION: &[(i16, Shape)] = &[(1, Struct(CIPHER)), (2, Struct(CIPHER))];

const CIPHER: &[(i16, Shape)] = &[(1, Binary), (2, Binary), (3, Truth)];
