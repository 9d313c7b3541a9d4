//! Where nothing draws or no display is there, the program says in one sentence what to install.
#![cfg(all(feature = "viewer", target_os = "linux"))]
#![expect(
    clippy::unwrap_used,
    reason = "a test may stop where it stands, and looks at what was written"
)]

use std::net::{Ipv4Addr, TcpListener};
use std::process::{Command, Output};

/// Hides every Vulkan driver and every OpenGL driver from the program.
const NOTHING_DRAWS: [(&str, &str); 4] = [
    ("VK_ICD_FILENAMES", "/nonexistent"),
    ("VK_DRIVER_FILES", "/nonexistent"),
    ("__EGL_VENDOR_LIBRARY_FILENAMES", "/nonexistent"),
    ("LIBGL_DRIVERS_PATH", "/nonexistent"),
];

/// Runs the program in an empty folder without a display, and with these variables.
fn run(arguments: &[&str], variables: &[(&str, &str)]) -> Output {
    let folder = tempfile::tempdir().unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_nestline"))
        .args(arguments)
        .current_dir(folder.path())
        .env_remove("DISPLAY")
        .env_remove("WAYLAND_DISPLAY")
        .env_remove("WAYLAND_SOCKET")
        .env("XDG_RUNTIME_DIR", folder.path())
        // a backtrace would be seen
        .env("RUST_BACKTRACE", "1")
        .env("COLUMNS", "1000")
        .envs(variables.iter().copied())
        .output()
        .unwrap();
    let left = std::fs::read_dir(folder.path()).unwrap().count();
    assert_eq!(left, 0, "{arguments:?} leaves something behind");
    output
}

/// The one sentence of a program that could not run.
fn sentence(output: &Output) -> String {
    let told = String::from_utf8(output.stderr.clone()).unwrap();
    assert_eq!(output.status.code(), Some(2), "{told}");
    assert!(output.stdout.is_empty(), "{told}");
    assert_eq!(told.lines().count(), 1, "{told}");
    assert!(told.starts_with("nestline: "), "{told}");
    for bad in ["panic", "stack backtrace", ".rs", "unwrap"] {
        assert!(!told.contains(bad), "{told}");
    }
    told
}

/// A port on which something takes calls as an X server does, and hangs up at once; its display.
fn display_that_hangs_up() -> String {
    let (number, listener) = (200..900)
        .find_map(|number| {
            let at = (Ipv4Addr::LOCALHOST, 6000 + number);
            Some((number, TcpListener::bind(at).ok()?))
        })
        .unwrap();
    std::thread::spawn(move || {
        for call in listener.incoming() {
            drop(call);
        }
    });
    format!("127.0.0.1:{number}")
}

#[test]
fn cli_without_a_driver_films_and_window_name_what_to_install() {
    let display = display_that_hangs_up();
    let with_display = [&NOTHING_DRAWS[..], &[("DISPLAY", &display)]].concat();
    for (arguments, variables) in [
        (&["film", "-o", "a.mp4"][..], &NOTHING_DRAWS[..]),
        (&["film", "--still", "3", "-o", "a.png"], &NOTHING_DRAWS),
        (&["view"], &with_display),
    ] {
        let told = sentence(&run(arguments, variables));
        assert!(
            told.contains("draws in three dimensions")
                && told.contains("`apt-get install mesa-vulkan-drivers`"),
            "{told}"
        );
    }
}

#[test]
fn cli_without_a_display_the_window_names_what_to_install_and_what_needs_none() {
    for display in ["", ":64999", "garbage"] {
        let told = sentence(&run(&["view"], &[("DISPLAY", display)]));
        assert!(
            told.contains("no display") && told.contains("`apt-get install xvfb "),
            "{told}"
        );
        assert!(told.contains("`nestline film` needs no display"), "{told}");
    }
}

#[test]
fn cli_a_display_that_hangs_up_is_told_without_the_librarys_panic() {
    let display = display_that_hangs_up();
    let told = sentence(&run(&["view", "--ruler"], &[("DISPLAY", &display)]));
    assert!(
        told.contains("the window did not open (")
            && told.contains("`apt-get install libxcursor1 "),
        "{told}"
    );
}

#[test]
fn cli_a_wrong_shot_is_told_before_anything_is_read() {
    for (asked, meant) in [("arhc", "did you mean `arch`?"), ("m1", "")] {
        let arguments = [
            "film",
            "no-such.ron",
            "--shot",
            asked,
            "-o",
            "a.png",
            "--still",
            "3",
        ];
        let output = run(&arguments, &[]);
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{told}");
        assert!(
            told.contains(&format!("no shot is named `{asked}`")),
            "{told}"
        );
        assert!(told.contains(meant), "{told}");
        assert!(
            told.contains("there are route, arch, neck, edge, tip, head"),
            "{told}"
        );
    }
}
