//! The container: buffers, accessors, meshes, nodes.

use gltf_json as json;
use json::accessor::{ComponentType, GenericComponentType, Type};
use json::animation::{Channel, Interpolation, Property, Sampler};
use json::buffer::Target;
use json::mesh::{Mode, Primitive, Semantic};
use json::validation::{Checked::Valid, USize64};
use json::{Index, Root};
use serde_json::value::RawValue;

/// What is being put together.
#[derive(Debug, Default)]
pub(super) struct Pack {
    pub(super) root: Root,
    bytes: Vec<u8>,
    /// Nodes at the top.
    pub(super) top: Vec<Index<json::Node>>,
    channels: Vec<Channel>,
    samplers: Vec<Sampler>,
    /// Stretches of the buffer: per-vertex data, indices, everything else.
    loose: Option<Index<json::buffer::View>>,
    loose_bytes: Vec<u8>,
}

/// Least and greatest of each component.
fn bounds<const N: usize>(data: &[[f32; N]]) -> ([f32; N], [f32; N]) {
    let mut low = [f32::INFINITY; N];
    let mut high = [f32::NEG_INFINITY; N];
    for value in data {
        for i in 0..N {
            low[i] = low[i].min(value[i]);
            high[i] = high[i].max(value[i]);
        }
    }
    (low, high)
}

fn floats(data: impl IntoIterator<Item = f32>) -> Vec<u8> {
    data.into_iter().flat_map(f32::to_le_bytes).collect()
}

pub(super) fn extras(value: &serde_json::Value) -> json::Extras {
    RawValue::from_string(value.to_string()).ok()
}

/// A mesh's primitive: one material.
#[derive(Debug, Default)]
pub(super) struct Surface {
    pub(super) positions: Vec<[f32; 3]>,
    pub(super) normals: Vec<[f32; 3]>,
    pub(super) triangles: Vec<[u32; 3]>,
    /// Two joints and the weight of the second, for skinned surfaces.
    pub(super) joints: Vec<([u8; 2], f32)>,
}

/// Joints and weights of a vertex in bytes: 255 stands for 1, and a joint without weight is 0.
fn bytes_of(([a, b], share): &([u8; 2], f32)) -> ([u8; 2], [u8; 2]) {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "between 0 and 255"
    )]
    let second = (255.0 * share.clamp(0.0, 1.0)).round() as u8;
    match second {
        0 => ([*a, 0], [u8::MAX, 0]),
        u8::MAX => ([*b, 0], [u8::MAX, 0]),
        _ => ([*a, *b], [u8::MAX - second, second]),
    }
}

impl Pack {
    fn view(&mut self, bytes: &[u8], target: Option<Target>) -> Index<json::buffer::View> {
        while !self.bytes.len().is_multiple_of(4) {
            self.bytes.push(0);
        }
        let offset = self.bytes.len();
        self.bytes.extend_from_slice(bytes);
        self.root.push(json::buffer::View {
            buffer: Index::new(0),
            byte_length: USize64::from(bytes.len()),
            byte_offset: Some(USize64::from(offset)),
            byte_stride: None,
            name: None,
            target: target.map(Valid),
            extensions: None,
            extras: None,
        })
    }

    fn accessor(
        &mut self,
        view: Index<json::buffer::View>,
        offset: Option<usize>,
        count: usize,
        (component, type_): (ComponentType, Type),
        min_max: Option<(json::Value, json::Value)>,
    ) -> Index<json::Accessor> {
        let (min, max) = min_max.unzip();
        self.root.push(json::Accessor {
            buffer_view: Some(view),
            byte_offset: offset.map(USize64::from),
            count: USize64::from(count),
            component_type: Valid(GenericComponentType(component)),
            extensions: None,
            extras: None,
            type_: Valid(type_),
            min,
            max,
            name: None,
            normalized: false,
            sparse: None,
        })
    }

    fn vertices(&mut self, data: &[[f32; 3]], with_bounds: bool) -> Index<json::Accessor> {
        let view = self.view(
            &floats(data.iter().flatten().copied()),
            Some(Target::ArrayBuffer),
        );
        let (low, high) = bounds(data);
        let min_max = with_bounds.then(|| (serde_json::json!(low), serde_json::json!(high)));
        self.accessor(
            view,
            None,
            data.len(),
            (ComponentType::F32, Type::Vec3),
            min_max,
        )
    }

    /// Data that belongs to no vertex, in one stretch of the buffer that is written at the end.
    fn loose_view(&mut self) -> Index<json::buffer::View> {
        *self.loose.get_or_insert_with(|| {
            self.root.push(json::buffer::View {
                buffer: Index::new(0),
                byte_length: USize64::from(0_usize),
                byte_offset: None,
                byte_stride: None,
                name: None,
                target: None,
                extensions: None,
                extras: None,
            })
        })
    }

    fn loose<const N: usize>(
        &mut self,
        data: &[[f32; N]],
        with_bounds: bool,
    ) -> Index<json::Accessor> {
        let view = self.loose_view();
        let offset = self.loose_bytes.len();
        self.loose_bytes
            .extend(floats(data.iter().flatten().copied()));
        let (low, high) = bounds(data);
        let min_max = with_bounds.then(|| {
            (
                serde_json::json!(low.to_vec()),
                serde_json::json!(high.to_vec()),
            )
        });
        let type_ = match N {
            1 => Type::Scalar,
            3 => Type::Vec3,
            _ => Type::Vec4,
        };
        self.accessor(
            view,
            Some(offset),
            data.len(),
            (ComponentType::F32, type_),
            min_max,
        )
    }

    pub(super) fn material(
        &mut self,
        name: &str,
        [r, g, b]: [f32; 3],
        alpha: f32,
    ) -> Index<json::Material> {
        use json::material::{AlphaMode, PbrBaseColorFactor, PbrMetallicRoughness, StrengthFactor};
        self.root.push(json::Material {
            name: Some(name.into()),
            double_sided: true,
            alpha_mode: Valid(if alpha < 1.0 {
                AlphaMode::Blend
            } else {
                AlphaMode::Opaque
            }),
            pbr_metallic_roughness: PbrMetallicRoughness {
                base_color_factor: PbrBaseColorFactor([r, g, b, alpha]),
                metallic_factor: StrengthFactor(0.0),
                roughness_factor: StrengthFactor(0.5),
                ..PbrMetallicRoughness::default()
            },
            ..json::Material::default()
        })
    }

    /// A primitive; `moved` gives the same positions in another shape it morphs to.
    pub(super) fn primitive(
        &mut self,
        surface: &Surface,
        material: Index<json::Material>,
        moved: Option<&[[f32; 3]]>,
    ) -> Primitive {
        let mut attributes = std::collections::BTreeMap::new();
        let positions = self.vertices(&surface.positions, true);
        attributes.insert(Valid(Semantic::Positions), positions);
        let normals = self.vertices(&surface.normals, false);
        attributes.insert(Valid(Semantic::Normals), normals);
        if !surface.joints.is_empty() {
            let count = surface.joints.len();
            let kind = (ComponentType::U8, Type::Vec4);
            let bound: Vec<([u8; 2], [u8; 2])> = surface.joints.iter().map(bytes_of).collect();
            let joints = bound.iter().flat_map(|([a, b], _)| [*a, *b, 0, 0]);
            let view = self.view(&joints.collect::<Vec<u8>>(), Some(Target::ArrayBuffer));
            let at = self.accessor(view, None, count, kind, None);
            attributes.insert(Valid(Semantic::Joints(0)), at);
            let weights = bound.iter().flat_map(|(_, [a, b])| [*a, *b, 0, 0]);
            let view = self.view(&weights.collect::<Vec<u8>>(), Some(Target::ArrayBuffer));
            let at = self.accessor(view, None, count, kind, None);
            self.root.accessors[at.value()].normalized = true;
            attributes.insert(Valid(Semantic::Weights(0)), at);
        }
        let corners = surface.triangles.iter().flatten();
        // 65,535 itself is kept free by the format
        let (component, bytes): (ComponentType, Vec<u8>) = if surface.positions.len() < 0xFFFF {
            let short = |v: &u32| u16::try_from(*v).unwrap_or(u16::MAX).to_le_bytes();
            (ComponentType::U16, corners.flat_map(short).collect())
        } else {
            (
                ComponentType::U32,
                corners.flat_map(|v| v.to_le_bytes()).collect(),
            )
        };
        let view = self.view(&bytes, Some(Target::ElementArrayBuffer));
        let count = 3 * surface.triangles.len();
        let indices = self.accessor(view, None, count, (component, Type::Scalar), None);
        let targets = moved.map(|moved| {
            let by: Vec<[f32; 3]> = moved
                .iter()
                .zip(&surface.positions)
                .map(|(a, b)| [a[0] - b[0], a[1] - b[1], a[2] - b[2]])
                .collect();
            vec![json::mesh::MorphTarget {
                positions: Some(self.vertices(&by, true)),
                normals: None,
                tangents: None,
            }]
        });
        Primitive {
            attributes,
            extensions: None,
            extras: None,
            indices: Some(indices),
            material: Some(material),
            mode: Valid(Mode::Triangles),
            targets,
        }
    }

    /// A named node at the top with a mesh.
    pub(super) fn mesh_node(
        &mut self,
        name: &str,
        primitives: Vec<Primitive>,
        skin: Option<Index<json::Skin>>,
    ) -> Index<json::Node> {
        let morphs = primitives.iter().any(|p| p.targets.is_some());
        let mesh = self.root.push(json::Mesh {
            name: Some(name.into()),
            primitives,
            weights: morphs.then(|| vec![0.0]),
            extensions: None,
            extras: None,
        });
        let node = self.root.push(json::Node {
            mesh: Some(mesh),
            skin,
            name: Some(name.into()),
            ..json::Node::default()
        });
        self.top.push(node);
        node
    }

    /// A skin; `bind` is the place of each joint along the straight axis in which the mesh is given.
    pub(super) fn skin(
        &mut self,
        name: &str,
        joints: Vec<Index<json::Node>>,
        bind: &[f32],
    ) -> Index<json::Skin> {
        let inverse: Vec<[f32; 16]> = bind
            .iter()
            .map(|z| {
                let mut matrix = [0.0; 16];
                for i in 0..4 {
                    matrix[5 * i] = 1.0;
                }
                matrix[14] = -z;
                matrix
            })
            .collect();
        let view = self.view(&floats(inverse.iter().flatten().copied()), None);
        let inverse = self.accessor(
            view,
            None,
            bind.len(),
            (ComponentType::F32, Type::Mat4),
            None,
        );
        let bones = self.root.push(json::Node {
            children: Some(joints.clone()),
            name: Some(format!("{name} joints")),
            ..json::Node::default()
        });
        self.top.push(bones);
        self.root.push(json::Skin {
            inverse_bind_matrices: Some(inverse),
            joints,
            skeleton: None,
            name: Some(name.into()),
            extensions: None,
            extras: None,
        })
    }

    /// Times at which something is given, s.
    pub(super) fn times(&mut self, times_s: &[f32]) -> Index<json::Accessor> {
        let data: Vec<[f32; 1]> = times_s.iter().map(|t| [*t]).collect();
        self.loose(&data, true)
    }

    pub(super) fn animate<const N: usize>(
        &mut self,
        node: Index<json::Node>,
        property: Property,
        times: Index<json::Accessor>,
        values: &[[f32; N]],
    ) {
        let output = self.loose(values, false);
        self.channel(node, property, times, output);
    }

    fn channel(
        &mut self,
        node: Index<json::Node>,
        property: Property,
        times: Index<json::Accessor>,
        output: Index<json::Accessor>,
    ) {
        let sampler = Index::new(u32::try_from(self.samplers.len()).unwrap_or(u32::MAX));
        self.samplers.push(Sampler {
            input: times,
            output,
            interpolation: Valid(Interpolation::Linear),
            extensions: None,
            extras: None,
        });
        self.channels.push(Channel {
            sampler,
            target: json::animation::Target {
                node,
                path: Valid(property),
                extensions: None,
                extras: None,
            },
            extensions: None,
            extras: None,
        });
    }

    /// Turns of a node; 16 bits a component resolve a thousandth of a degree.
    pub(super) fn animate_turns(
        &mut self,
        node: Index<json::Node>,
        times: Index<json::Accessor>,
        turns: &[[f32; 4]],
    ) {
        let short = |x: f32| {
            #[expect(clippy::cast_possible_truncation, reason = "between -32767 and 32767")]
            let x = (x.clamp(-1.0, 1.0) * f32::from(i16::MAX)).round() as i16;
            x.to_le_bytes()
        };
        let view = self.loose_view();
        let offset = self.loose_bytes.len();
        self.loose_bytes
            .extend(turns.iter().flatten().flat_map(|x| short(*x)));
        let kind = (ComponentType::I16, Type::Vec4);
        let output = self.accessor(view, Some(offset), turns.len(), kind, None);
        self.root.accessors[output.value()].normalized = true;
        self.channel(node, Property::Rotation, times, output);
    }

    /// The file.
    pub(super) fn finish(mut self, animation: &str, scene: &str) -> Result<Vec<u8>, String> {
        while !self.bytes.len().is_multiple_of(4) {
            self.bytes.push(0);
        }
        if let Some(view) = self.loose {
            let offset = self.bytes.len();
            let view = &mut self.root.buffer_views[view.value()];
            view.byte_offset = Some(USize64::from(offset));
            view.byte_length = USize64::from(self.loose_bytes.len());
            self.bytes.append(&mut self.loose_bytes);
        }
        self.root.push(json::Buffer {
            byte_length: USize64::from(self.bytes.len()),
            name: None,
            uri: None,
            extensions: None,
            extras: None,
        });
        if !self.channels.is_empty() {
            self.root.push(json::Animation {
                channels: self.channels,
                samplers: self.samplers,
                name: Some(animation.into()),
                extensions: None,
                extras: None,
            });
        }
        let scene = self.root.push(json::Scene {
            nodes: self.top,
            name: Some(scene.into()),
            extensions: None,
            extras: None,
        });
        self.root.scene = Some(scene);
        let text = json::serialize::to_vec(&self.root).map_err(|e| e.to_string())?;
        gltf::binary::Glb {
            header: gltf::binary::Header {
                magic: *b"glTF",
                version: 2,
                length: 0,
            },
            json: text.into(),
            bin: Some(self.bytes.into()),
        }
        .to_vec()
        .map_err(|e| e.to_string())
    }
}
