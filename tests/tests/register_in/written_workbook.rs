//! A workbook written by hand, part by part, as Office Open XML (ECMA-376 part 1) has it in a zip archive
//! (APPNOTE.TXT 6.3), so that what reads it is checked against the format and not against its own writer.

/// One entry of an archive: its name, its bytes as stored, and what they inflate to.
struct Entry {
    name: String,
    method: u16,
    stored: Vec<u8>,
    checksum: u32,
    size: u32,
}

/// CRC-32 as zip archives carry it.
fn checksum(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |mut sum, byte| {
        sum ^= u32::from(*byte);
        (0..8).for_each(|_| sum = (sum >> 1) ^ (0xEDB8_8320 & (sum & 1).wrapping_neg()));
        sum
    })
}

fn plain(name: &str, text: &str) -> Entry {
    let stored = text.as_bytes().to_vec();
    let size = u32::try_from(stored.len()).unwrap();
    Entry { name: name.to_owned(), method: 0, checksum: checksum(&stored), size, stored }
}

/// The fields that a local header and a directory entry share.
fn shared_fields(entry: &Entry) -> Vec<u8> {
    let mut fields = Vec::new();
    for word in [20, 0, entry.method, 0, 0x21] {
        fields.extend(u16::to_le_bytes(word));
    }
    for word in [entry.checksum, u32::try_from(entry.stored.len()).unwrap(), entry.size] {
        fields.extend(word.to_le_bytes());
    }
    fields.extend(u16::try_from(entry.name.len()).unwrap().to_le_bytes());
    fields.extend(0u16.to_le_bytes());
    fields
}

fn archive(entries: &[Entry]) -> Vec<u8> {
    let (mut body, mut directory) = (Vec::new(), Vec::new());
    for entry in entries {
        let at = u32::try_from(body.len()).unwrap();
        body.extend(b"PK\x03\x04");
        body.extend(shared_fields(entry));
        body.extend(entry.name.as_bytes());
        body.extend(&entry.stored);
        directory.extend(b"PK\x01\x02\x14\x00");
        directory.extend(shared_fields(entry));
        directory.extend([0; 10]);
        directory.extend(at.to_le_bytes());
        directory.extend(entry.name.as_bytes());
    }
    let count = u16::try_from(entries.len()).unwrap().to_le_bytes();
    let (start, length) = (u32::try_from(body.len()).unwrap(), u32::try_from(directory.len()).unwrap());
    body.extend(directory);
    body.extend(b"PK\x05\x06\x00\x00\x00\x00");
    body.extend([count, count].concat());
    body.extend(length.to_le_bytes());
    body.extend(start.to_le_bytes());
    body.extend([0; 2]);
    body
}

const SPREADSHEET: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
const RELATIONS: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
const PACKAGE: &str = "http://schemas.openxmlformats.org/package/2006";

/// Cell style 1 is a date (number format 14), 2 a date and time (22).
fn styles() -> Entry {
    let text = format!(
        "<styleSheet xmlns=\"{SPREADSHEET}\"><cellXfs count=\"3\"><xf numFmtId=\"0\"/>\
         <xf numFmtId=\"14\" applyNumberFormat=\"1\"/><xf numFmtId=\"22\" applyNumberFormat=\"1\"/></cellXfs></styleSheet>"
    );
    plain("xl/styles.xml", &text)
}

fn parts(sheets: &[(&str, String)]) -> Vec<Entry> {
    let numbered = || (1..).zip(sheets);
    let names: Vec<String> = numbered()
        .map(|(n, (name, _))| format!("<sheet name=\"{name}\" sheetId=\"{n}\" r:id=\"rId{n}\"/>"))
        .collect();
    let links: Vec<String> = numbered()
        .map(|(n, _)| format!("<Relationship Id=\"rId{n}\" Type=\"{RELATIONS}/worksheet\" Target=\"worksheets/sheet{n}.xml\"/>"))
        .collect();
    let mut entries = vec![
        plain(
            "[Content_Types].xml",
            &format!(
                "<Types xmlns=\"{PACKAGE}/content-types\"><Default Extension=\"xml\" ContentType=\"application/xml\"/></Types>"
            ),
        ),
        plain(
            "_rels/.rels",
            &format!(
                "<Relationships xmlns=\"{PACKAGE}/relationships\"><Relationship Id=\"rId1\" Type=\"{RELATIONS}/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>"
            ),
        ),
        plain(
            "xl/workbook.xml",
            &format!(
                "<workbook xmlns=\"{SPREADSHEET}\" xmlns:r=\"{RELATIONS}\"><sheets>{}</sheets></workbook>",
                names.concat()
            ),
        ),
        plain(
            "xl/_rels/workbook.xml.rels",
            &format!(
                "<Relationships xmlns=\"{PACKAGE}/relationships\">{}<Relationship Id=\"rIdS\" Type=\"{RELATIONS}/styles\" Target=\"styles.xml\"/></Relationships>",
                links.concat()
            ),
        ),
        styles(),
    ];
    for (n, (_, rows)) in numbered() {
        let text = format!("<worksheet xmlns=\"{SPREADSHEET}\"><sheetData>{rows}</sheetData></worksheet>");
        entries.push(plain(&format!("xl/worksheets/sheet{n}.xml"), &text));
    }
    entries
}

/// A workbook of sheets, each given by its rows.
pub fn workbook(sheets: &[(&str, String)]) -> Vec<u8> {
    archive(&parts(sheets))
}

/// The same with a part that inflates to `mebibytes` of noughts.
pub fn flooding_workbook(sheets: &[(&str, String)], mebibytes: usize) -> Vec<u8> {
    let mut entries = parts(sheets);
    let size = mebibytes << 20;
    // Nothing reads far enough to look at its checksum.
    let (size, stored) = (u32::try_from(size).unwrap(), deflated_noughts(size));
    entries.push(Entry { name: "xl/media/image1.bin".to_owned(), method: 8, stored, checksum: 0, size });
    archive(&entries)
}

/// A row of cells of text; an empty text is no cell.
pub fn words(number: usize, cells: &[&str]) -> String {
    let cells = ('A'..).zip(cells).filter(|(_, text)| !text.is_empty());
    let cells = cells.map(|(column, text)| {
        format!("<c r=\"{column}{number}\" t=\"inlineStr\"><is><t>{text}</t></is></c>")
    });
    row_of(number, &cells.collect::<Vec<_>>().concat())
}

/// A row of cells given as they stand in the part.
pub fn row_of(number: usize, cells: &str) -> String {
    format!("<row r=\"{number}\">{cells}</row>")
}

/// Bits of a DEFLATE stream (RFC 1951), lowest first.
#[derive(Default)]
struct Bits {
    bytes: Vec<u8>,
    used: usize,
}

impl Bits {
    fn put(&mut self, value: u32, count: usize) {
        for bit in 0..count {
            if self.used.is_multiple_of(8) {
                self.bytes.push(0);
            }
            let last = self.bytes.len() - 1;
            self.bytes[last] |= u8::try_from(value >> bit & 1).unwrap() << (self.used % 8);
            self.used += 1;
        }
    }
}

/// `size` noughts as DEFLATE can say them shortest: one block whose own codes give two bits to 258 bytes.
fn deflated_noughts(size: usize) -> Vec<u8> {
    let mut bits = Bits::default();
    // Last block, own codes; 286 lengths and literals, 1 distance, 18 lengths of code lengths.
    for (value, count) in [(1, 1), (2, 2), (29, 5), (0, 5), (14, 4)] {
        bits.put(value, count);
    }
    // Code lengths in the order 16 17 18 0 8 7 9 6 10 5 11 4 12 3 13 2 14 1: 18 has one bit, 2 and 1 have two.
    for length in [0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 2, 0, 2] {
        bits.put(length, 3);
    }
    // Codes by RFC 1951, 3.2.2: 18 is 0, then 1 is 10 and 2 is 11, sent from their first bit on.
    let (one, two) = ((0b01, 2), (0b11, 2));
    let noughts = |bits: &mut Bits, n: u32| {
        bits.put(0, 1);
        bits.put(n - 11, 7);
    };
    // Literal 0 and the block's end have two bits; length 258 and the one distance have one.
    bits.put(two.0, two.1);
    noughts(&mut bits, 138);
    noughts(&mut bits, 117);
    bits.put(two.0, two.1);
    noughts(&mut bits, 28);
    bits.put(one.0, one.1);
    bits.put(one.0, one.1);
    bits.put(0b01, 2);
    (0..(size - 1) / 258).for_each(|_| bits.put(0, 2));
    bits.put(0b11, 2);
    bits.bytes
}
