//! Whether this machine can draw at all, asked before anything is opened.
//!
//! Opening a surface without a driver, or a window without a display, ends the program inside the
//! drawing library. So both are asked for first, and what is missing is told in one sentence.

use super::ScreenError;

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

/// Whether a display is named, and its socket is there.
fn display_answers() -> bool {
    let named = |variable: &str| std::env::var(variable).ok().filter(|v| !v.is_empty());
    if let Some(wayland) = named("WAYLAND_DISPLAY").or_else(|| named("WAYLAND_SOCKET")) {
        let folder = named("XDG_RUNTIME_DIR").unwrap_or_default();
        let socket = std::path::Path::new(&folder).join(wayland);
        if named("WAYLAND_SOCKET").is_some() || socket.exists() {
            return true;
        }
    }
    let Some(display) = named("DISPLAY") else {
        return false;
    };
    // ":0" and ":0.0" are on this machine, where a socket bears the number; others may answer
    let Some(local) = display.strip_prefix(':') else {
        return true;
    };
    let number = local.split('.').next().unwrap_or(local);
    let socket = std::path::Path::new("/tmp/.X11-unix").join(format!("X{number}"));
    // without that folder the display may listen elsewhere
    socket.exists() || !std::path::Path::new("/tmp/.X11-unix").exists()
}

fn driver_advice() -> &'static str {
    if cfg!(target_os = "linux") {
        "install a Vulkan driver (on Debian and Ubuntu: `apt-get install mesa-vulkan-drivers`, which also draws without a graphics card)"
    } else {
        "install or update the driver of the graphics card"
    }
}
