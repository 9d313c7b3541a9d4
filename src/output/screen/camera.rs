//! Where one looks from: angles as on a C-arm, and what lands where in the picture.

use super::vec3;
use crate::geometry::Point;
use kiss3d::camera::Camera3d;
use kiss3d::event::WindowEvent;
use kiss3d::glamx::glam::camera::rh::proj::directx;
use kiss3d::glamx::{Mat4, Pose3, Vec2, Vec3};
use kiss3d::window::Canvas;

/// Field of view of the perspective, rad: narrow, so that near and far keep their sizes.
const FIELD_OF_VIEW_RAD: f32 = 0.35;
/// Depth that is drawn on either side of what is looked at, mm: a route and then some.
const DEPTH_MM: f32 = 2500.0;
/// Nearest distance drawn, mm.
const NEAR_MM: f32 = 2.0;
/// Nearest to straight from above or below, degrees: beyond, left and right would swap.
const STEEPEST_DEG: f32 = 88.0;

/// A direction to look from, by the angles of a C-arm.
///
/// Both zero is the frontal view (anterior-posterior as one sees it: the patient faces the viewer,
/// head up, the patient's left on the right).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Angles {
    /// How far the viewer stands to the patient's left, degrees; negative: to the right. 90 is the
    /// left lateral view, the face to the left.
    pub left_deg: f32,
    /// How far towards the head, degrees; negative: towards the feet.
    pub head_deg: f32,
}

impl Angles {
    /// From the front.
    pub const FRONTAL: Self = Self {
        left_deg: 0.0,
        head_deg: 0.0,
    };
    /// From the patient's left.
    pub const LATERAL: Self = Self {
        left_deg: 90.0,
        head_deg: 0.0,
    };

    /// The angles as they are read out on a C-arm, with the plain name where there is one.
    #[must_use]
    pub fn in_words(self) -> String {
        let side = self.left_deg.round();
        let tilt = self.head_deg.round();
        let mut words = match side {
            s if s.abs() < 0.5 => "from the front".to_owned(),
            s if (s - 90.0).abs() < 0.5 => "from the left".to_owned(),
            s if (s + 90.0).abs() < 0.5 => "from the right".to_owned(),
            s if (s.abs() - 180.0).abs() < 0.5 => "from behind".to_owned(),
            s if s > 0.0 => format!("{s:.0}° to the left"),
            s => format!("{:.0}° to the right", -s),
        };
        if tilt > 0.0 {
            words += &format!(", {tilt:.0}° from above");
        } else if tilt < 0.0 {
            words += &format!(", {:.0}° from below", -tilt);
        }
        words
    }

    /// Unit vector from what is looked at to the viewer.
    #[must_use]
    pub fn outward(self) -> Vec3 {
        let side = self.left_deg.to_radians();
        let tilt = self
            .head_deg
            .clamp(-STEEPEST_DEG, STEEPEST_DEG)
            .to_radians();
        Vec3::new(
            side.sin() * tilt.cos(),
            -side.cos() * tilt.cos(),
            tilt.sin(),
        )
    }
}

/// A camera.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct View {
    /// What is looked at, mm: x to the patient's left, y backwards, z up.
    pub at_mm: Vec3,
    /// From where.
    pub from: Angles,
    /// Height of what is seen at that place, mm.
    pub height_mm: f32,
    /// Parallel rays, as on a plan; else a slight perspective.
    pub parallel: bool,
}

impl View {
    /// To the viewer's right, and up in the picture.
    #[must_use]
    pub fn axes(&self) -> (Vec3, Vec3) {
        let inward = -self.from.outward();
        let right = inward.cross(Vec3::Z).normalize();
        (right, right.cross(inward))
    }

    fn distance_mm(&self) -> f32 {
        if self.parallel {
            DEPTH_MM
        } else {
            0.5 * self.height_mm / (0.5 * FIELD_OF_VIEW_RAD).tan()
        }
    }

    fn eye_mm(&self) -> Vec3 {
        self.at_mm + self.from.outward() * self.distance_mm()
    }

    fn matrices(&self, aspect: f32) -> (Pose3, Mat4) {
        let pose = Pose3::look_at_rh(self.eye_mm(), self.at_mm, Vec3::Z);
        let far_mm = self.distance_mm() + DEPTH_MM;
        let proj = if self.parallel {
            let half_mm = 0.5 * self.height_mm;
            let half_wide_mm = half_mm * aspect;
            directx::orthographic(
                -half_wide_mm,
                half_wide_mm,
                -half_mm,
                half_mm,
                NEAR_MM,
                far_mm,
            )
        } else {
            let near_mm = NEAR_MM.max(0.02 * self.distance_mm());
            directx::perspective(FIELD_OF_VIEW_RAD, aspect, near_mm, far_mm)
        };
        (pose, proj)
    }

    /// Where a point lands in a picture of `size` pixels, from its upper left corner; none behind
    /// the viewer.
    #[must_use]
    pub fn project(&self, point_mm: Vec3, size: Vec2) -> Option<Vec2> {
        let (pose, proj) = self.matrices(size.x / size.y);
        let clip = proj * pose.to_mat4() * point_mm.extend(1.0);
        if clip.w <= 0.0 {
            return None;
        }
        let (x, y) = (clip.x / clip.w, clip.y / clip.w);
        Some(Vec2::new(
            0.5 * (1.0 + x) * size.x,
            0.5 * (1.0 - y) * size.y,
        ))
    }

    /// Where a point, mm, lands in a picture that stands in `rect`, pixels; none behind the viewer.
    #[must_use]
    pub fn place(&self, point: &Point, rect: egui::Rect) -> Option<egui::Pos2> {
        let size = Vec2::new(rect.width(), rect.height());
        let at = self.project(vec3(point), size)?;
        Some(rect.min + egui::vec2(at.x, at.y))
    }

    /// Length of a millimetre at the place looked at, in a picture of that height, pixels.
    #[must_use]
    pub fn pixels_per_mm(&self, height_px: f32) -> f32 {
        height_px / self.height_mm
    }

    /// Thinnest thing that is seen in a picture of that height, mm: a little over a pixel.
    #[must_use]
    pub fn least_mm(&self, height_px: f32) -> f64 {
        1.2 / f64::from(self.pixels_per_mm(height_px))
    }

    /// The view a part of the way to another one; `part` from 0 to 1. Sizes go by their ratio, so
    /// that a zoom looks even.
    #[must_use]
    pub fn towards(&self, other: &Self, part: f32) -> Self {
        let mix = |a: f32, b: f32| a + (b - a) * part;
        Self {
            at_mm: self.at_mm.lerp(other.at_mm, part),
            from: Angles {
                left_deg: mix(self.from.left_deg, other.from.left_deg),
                head_deg: mix(self.from.head_deg, other.from.head_deg),
            },
            height_mm: self.height_mm * (other.height_mm / self.height_mm).powf(part),
            parallel: other.parallel,
        }
    }

    /// Turned as by a drag of the mouse over so many pixels.
    #[must_use]
    pub fn turned(mut self, dx_px: f32, dy_px: f32) -> Self {
        /// Half a turn for a drag over a screen.
        const DEG_PER_PX: f32 = 0.25;
        self.from.left_deg = wrapped(self.from.left_deg - dx_px * DEG_PER_PX);
        self.from.head_deg =
            (self.from.head_deg + dy_px * DEG_PER_PX).clamp(-STEEPEST_DEG, STEEPEST_DEG);
        self
    }

    /// Shifted as by a drag over so many pixels of a picture of that height.
    #[must_use]
    pub fn shifted(mut self, dx_px: f32, dy_px: f32, height_px: f32) -> Self {
        let (right, up) = self.axes();
        let mm_per_px = 1.0 / self.pixels_per_mm(height_px);
        self.at_mm += up * (dy_px * mm_per_px) - right * (dx_px * mm_per_px);
        self
    }

    /// Nearer (factor below 1) or farther.
    #[must_use]
    pub fn scaled(mut self, factor: f32) -> Self {
        /// Closest and widest that make sense: a stent's edge, and a whole patient.
        const LIMITS_MM: (f32, f32) = (4.0, 2500.0);
        self.height_mm = (self.height_mm * factor).clamp(LIMITS_MM.0, LIMITS_MM.1);
        self
    }
}

/// An angle between -180 and 180 degrees.
fn wrapped(deg: f32) -> f32 {
    (deg + 180.0).rem_euclid(360.0) - 180.0
}

/// A view on a surface whose shape it learns when it is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Eye {
    view: View,
    aspect: f32,
}

impl Eye {
    pub(super) fn new(view: View) -> Self {
        Self { view, aspect: 1.0 }
    }
}

impl Camera3d for Eye {
    fn handle_event(&mut self, _: &Canvas, _: &WindowEvent) {}

    fn eye(&self) -> Vec3 {
        self.view.eye_mm()
    }

    fn view_transform(&self) -> Pose3 {
        self.view.matrices(self.aspect).0
    }

    fn transformation(&self) -> Mat4 {
        let (pose, proj) = self.view.matrices(self.aspect);
        proj * pose.to_mat4()
    }

    fn inverse_transformation(&self) -> Mat4 {
        self.transformation().inverse()
    }

    fn clip_planes(&self) -> (f32, f32) {
        (NEAR_MM, self.view.distance_mm() + DEPTH_MM)
    }

    fn update(&mut self, canvas: &Canvas) {
        let (width, height) = canvas.size();
        self.aspect = width as f32 / height.max(1) as f32;
    }

    fn view_transform_pair(&self, _pass: usize) -> (Pose3, Mat4) {
        self.view.matrices(self.aspect)
    }
}
