"""Polylines with radii by an independent library: writes them in every encoding, reads ours."""
import sys

try:
    import vtk
    from vtk.util.numpy_support import vtk_to_numpy
except ImportError as error:
    print(error)
    sys.exit(77)


def reader(path):
    found = vtk.vtkXMLPolyDataReader() if path.endswith(".vtp") else vtk.vtkPolyDataReader()
    found.SetFileName(path)
    found.Update()
    return found.GetOutput()


def write_all(source, folder):
    data = reader(source)
    # an array beside the radius, so that it has to be told apart
    extra = vtk.vtkFloatArray()
    extra.SetName("two words")
    extra.SetNumberOfComponents(3)
    for i in range(data.GetNumberOfPoints()):
        extra.InsertNextTuple3(i, 0, 1)
    data.GetPointData().AddArray(extra)
    names = []
    for mode in ("Ascii", "Binary", "Appended"):
        for packed in (False, True):
            for wide in (False, True):
                for order in ("Little", "Big"):
                    for base64 in (False, True) if mode == "Appended" else (False,):
                        writer = vtk.vtkXMLPolyDataWriter()
                        getattr(writer, f"SetDataModeTo{mode}")()
                        writer.SetEncodeAppendedData(base64)
                        writer.SetCompressorType(1 if packed else 0)
                        writer.SetHeaderTypeToUInt64() if wide else writer.SetHeaderTypeToUInt32()
                        getattr(writer, f"SetByteOrderTo{order}Endian")()
                        name = f"{mode}-{packed}-{wide}-{order}-{base64}.vtp"
                        writer.SetFileName(f"{folder}/{name}")
                        writer.SetInputData(data)
                        assert writer.Write() == 1
                        names.append(name)
    for binary in (False, True):
        for version in (42, 51):
            writer = vtk.vtkPolyDataWriter()
            writer.SetFileVersion(version)
            writer.SetFileTypeToBinary() if binary else writer.SetFileTypeToASCII()
            name = f"legacy-{binary}-{version}.vtk"
            writer.SetFileName(f"{folder}/{name}")
            writer.SetInputData(data)
            assert writer.Write() == 1
            names.append(name)
    print("\n".join(names))


def describe(path):
    data = reader(path)
    radius = vtk_to_numpy(data.GetPointData().GetArray("radius"))
    points = vtk_to_numpy(data.GetPoints().GetData())
    print(data.GetNumberOfPoints(), data.GetNumberOfLines(), repr(float(radius.sum())), repr(float(points.sum())))


if sys.argv[1] == "write":
    write_all(sys.argv[2], sys.argv[3])
else:
    describe(sys.argv[2])
