use super::*;

/// A folder of its own for one test, empty.
fn room(name: &str) -> PathBuf {
    let room = std::env::temp_dir().join(format!("tallow-files-{}-{name}", std::process::id()));
    let _ = fs::remove_dir_all(&room);
    fs::create_dir_all(&room).unwrap();
    room
}

fn write(room: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let path = room.join(name);
    fs::write(&path, bytes).unwrap();
    path
}

#[test]
fn a_file_is_kept_under_its_digest_once() {
    let room = room("once");
    let store = Files::at(room.join("kept"));
    let filed = store.take(&write(&room, "TR-1.pdf", b"%PDF-1.7\nreport")).unwrap();
    let again = store.take(&write(&room, "copy.PDF", b"%PDF-1.7\nreport")).unwrap();
    assert_eq!((&filed.digest, filed.name.as_str()), (&again.digest, "TR-1.pdf"));
    // SHA-256 of "%PDF-1.7\nreport", as sha256sum gives it.
    assert_eq!(filed.digest, DIGEST);
    assert_eq!(fs::read(room.join("kept").join(&DIGEST[..2]).join(DIGEST)).unwrap(), b"%PDF-1.7\nreport");
    let left: Vec<_> = fs::read_dir(room.join("kept").join(&DIGEST[..2])).unwrap().collect();
    assert_eq!(left.len(), 1, "nothing half written is left");
    assert_eq!(Filed::parse(&filed.to_string()), Some(filed));
}

const DIGEST: &str = "440ded776ccbe5626c9394105727c51dd64b5de794a4aa369dc9b736e6629903";

#[test]
fn what_is_not_what_its_name_says_is_refused() {
    let room = room("sorts");
    let store = Files::at(room.join("kept"));
    let refused = |name: &str, bytes: &[u8]| store.take(&write(&room, name, bytes)).unwrap_err().to_string();
    assert_eq!(
        refused("a.pdf", b"\x89PNG\r\n\x1a\nxx"),
        "a.pdf holds a PNG, which its name does not say; name it .png, or give the right file"
    );
    for (name, bytes) in
        [("a.pdf", &b"MZ\x90"[..]), ("b.png", b""), ("c.jpg", b"GIF89a"), ("d.pdf", b" %PDF-")]
    {
        assert!(refused(name, bytes).contains("neither a PDF, a PNG nor a JPEG"), "{name}");
    }
    assert!(refused("e", b"%PDF-1").contains("name it .pdf"));
    assert!(store.take(&write(&room, "f.jpeg", b"\xff\xd8\xff\xe0")).is_ok());
    assert!(store.take(&write(&room, "g.JPG", b"\xff\xd8\xff\xe0")).is_ok());
    assert!(store.take(&room).unwrap_err().to_string().contains("is no file"));
    assert!(store.take(&room.join("gone.pdf")).is_err());
}

#[test]
fn the_largest_file_is_taken_and_a_byte_more_is_not() {
    let room = room("large");
    let store = Files::at(room.join("kept"));
    let mut bytes = b"%PDF-".to_vec();
    bytes.resize(usize::try_from(MOST_BYTES).unwrap(), b' ');
    assert!(store.take(&write(&room, "most.pdf", &bytes)).is_ok());
    bytes.push(b' ');
    let refused = store.take(&write(&room, "more.pdf", &bytes)).unwrap_err().to_string();
    assert_eq!(refused, "more.pdf is larger than 20 MiB; scan it again with fewer dots");
}

#[test]
fn a_missing_and_a_changed_file_are_told_apart() {
    let room = room("whole");
    let store = Files::at(room.join("kept"));
    let filed = store.take(&write(&room, "a.pdf", b"%PDF-1")).unwrap();
    fs::write(store.path(&filed.digest), b"%PDF-2").unwrap();
    assert!(matches!(store.check(&filed), Err(FileError::Changed(_))));
    fs::remove_file(store.path(&filed.digest)).unwrap();
    assert!(matches!(store.check(&filed), Err(FileError::Missing(_))));
}

#[test]
fn names_are_shown_plain_and_short() {
    assert_eq!(plain_name("a\u{202e}fdp.exe\n"), "a_fdp.exe_");
    let long = format!("{}.pdf", "x".repeat(4096));
    let short = plain_name(&long);
    assert_eq!(short.chars().count(), 120);
    assert_eq!(short.rsplit('.').next(), Some("pdf"));
    for other in ["TR-3310.pdf", "sha256:12 a.pdf", ""] {
        assert_eq!(Filed::parse(other), None);
    }
}
