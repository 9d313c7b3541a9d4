//! Whether this machine can draw at all, asked before anything is opened.
//!
//! Opening a surface without a driver, or a window without a display, ends the program inside the
//! drawing library. So both are asked for first, and what is missing is told in one sentence.

use super::ScreenError;
#[cfg(unix)]
use std::os::unix::net::UnixStream;

/// What draws.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Adapter {
    /// Name of the device or of the software that stands for one.
    pub name: String,
    /// Name of the interface: Vulkan, Metal, Dx12, Gl.
    pub interface: String,
    /// Several samples a pixel may be asked for. Under OpenGL they give a black picture.
    pub smooth: bool,
    /// Drawn by the processor, for want of a graphics card: a third of a second a picture.
    pub software: bool,
}

/// Finds what draws without a window.
///
/// # Errors
/// [`ScreenError::NoAdapter`] where nothing does.
pub fn find_adapter() -> Result<Adapter, ScreenError> {
    // the settings with which the drawing library asks
    let instance = wgpu::Instance::new(wgpu::InstanceDescriptor {
        backends: wgpu::Backends::all(),
        ..wgpu::InstanceDescriptor::new_without_display_handle()
    });
    let asked = instance.request_adapter(&wgpu::RequestAdapterOptions::default());
    let found = pollster::block_on(asked).map_err(|_| ScreenError::NoAdapter {
        advice: driver_advice(),
    })?;
    let info = found.get_info();
    Ok(Adapter {
        name: info.name,
        interface: format!("{:?}", info.backend),
        smooth: info.backend != wgpu::Backend::Gl,
        software: info.device_type == wgpu::DeviceType::Cpu,
    })
}

/// Finds what draws into a window.
///
/// # Errors
/// [`ScreenError::NoDisplay`] without a display, [`ScreenError::NoAdapter`] where nothing draws.
pub fn find_adapter_and_display() -> Result<Adapter, ScreenError> {
    let wanted = cfg!(all(unix, not(target_os = "macos")));
    if wanted && !display_answers() {
        return Err(ScreenError::NoDisplay);
    }
    find_adapter()
}

/// Whether a display is named and something listens there.
#[cfg(unix)]
fn display_answers() -> bool {
    let named = |variable: &str| std::env::var_os(variable).filter(|v| !v.is_empty());
    if named("WAYLAND_SOCKET").is_some() {
        return true;
    }
    if let Some(wayland) = named("WAYLAND_DISPLAY") {
        let folder = named("XDG_RUNTIME_DIR").unwrap_or_default();
        // an absolute name stands alone
        let socket = std::path::Path::new(&folder).join(wayland);
        if UnixStream::connect(socket).is_ok() {
            return true;
        }
    }
    let display = named("DISPLAY").unwrap_or_default();
    display.to_str().is_some_and(x_answers)
}

/// Windows and macOS have a desktop as soon as somebody is logged in.
#[cfg(not(unix))]
fn display_answers() -> bool {
    true
}

/// Whether an X server listens where `DISPLAY` points: `[host]:number[.screen]`.
#[cfg(unix)]
fn x_answers(display: &str) -> bool {
    /// Port of display 0.
    const FIRST_PORT: u16 = 6000;
    let Some((host, rest)) = display.rsplit_once(':') else {
        return false;
    };
    let Ok(number) = rest.split('.').next().unwrap_or_default().parse::<u16>() else {
        return false;
    };
    let socket = format!("/tmp/.X11-unix/X{number}");
    if host.is_empty() || host == "unix" {
        return UnixStream::connect(&socket).is_ok() || hidden_socket_answers(&socket);
    }
    let host = host.trim_start_matches('[').trim_end_matches(']');
    let port = FIRST_PORT.saturating_add(number);
    std::net::TcpStream::connect((host, port)).is_ok()
}

/// Linux has sockets beside the file system, too.
#[cfg(target_os = "linux")]
fn hidden_socket_answers(name: &str) -> bool {
    use std::os::linux::net::SocketAddrExt;
    use std::os::unix::net::SocketAddr;
    SocketAddr::from_abstract_name(name).is_ok_and(|at| UnixStream::connect_addr(&at).is_ok())
}

#[cfg(all(unix, not(target_os = "linux")))]
fn hidden_socket_answers(_: &str) -> bool {
    false
}

fn driver_advice() -> &'static str {
    if cfg!(target_os = "linux") {
        "install a Vulkan driver (on Debian and Ubuntu: `apt-get install mesa-vulkan-drivers`, which also draws without a graphics card)"
    } else {
        "install or update the driver of the graphics card"
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::x_answers;

    #[test]
    fn property_nothing_listens_on_displays_that_are_none() {
        for display in ["", "0", ":", ":x", ":64999", ":64999.0", "unix:64999"] {
            assert!(!x_answers(display), "{display}");
        }
    }
}
